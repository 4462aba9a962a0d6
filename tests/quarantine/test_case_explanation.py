"""A case in plain words: what each list means, and how its ranges come about, only as far as the case rests on it."""

import pytest
from django.urls import reverse

from compliance.metrology.allowances import ALLOWANCES
from compliance.metrology.vocabulary import Outcome, Sensor
from compliance.probes.models import Probe
from compliance.quarantine.case_explanation import DECIDED, MEANS, how_found, meaning
from compliance.quarantine.cases import load_case
from tests.checks.making import bad, boiling, day
from tests.quarantine.making import failed_after
from tests.remembered import remembered
from tests.world import make_limit


@pytest.fixture
def anchor(world):
    return remembered(failed, world)


def failed(world) -> str:
    return failed_after(world, "4.0", "9.0", "5.4")


def told(anchor, unit="C") -> dict[str, str]:
    return {part.heading: " ".join(part.lines) for part in how_found(load_case(anchor), unit)}


def test_each_list_opens_with_what_it_means_and_what_to_do(as_person, world, anchor):
    case = load_case(anchor)
    for outcome in Outcome:
        shown = (
            as_person(world.manager).get(reverse("case_detail", args=[case.slug]), {"show": outcome}).content.decode()
        )
        assert [other for other in Outcome if MEANS[other] in shown] == [outcome]


def test_no_list_lets_a_reading_stand_by_itself():
    assert "Do not serve" in meaning("broken") and "Hold this food" in meaning("undecided")
    assert "somebody still has to say so" in meaning("held")
    assert meaning("decided") == DECIDED


def test_a_case_of_cold_food_is_told_nothing_of_times(anchor):
    assert "Where a limit has a time" not in told(anchor)


@pytest.mark.parametrize(
    ("fields", "words", "not_said"),
    [
        ({"direction": "at_least", "value": "70", "hold_s": 120}, "70 °C for 2 minutes", "Cooling and reheating"),
        ({"direction": "at_most", "value": "8", "within_s": 5400}, "Cooling and reheating", "70 °C for 2 minutes"),
    ],
)
def test_times_are_told_of_where_a_limit_of_the_site_has_them(world, anchor, fields, words, not_said):
    make_limit(world.site, by=world.manager, code="timed", **fields)
    times = told(anchor)["Where a limit has a time"]
    assert words in times and not_said not in times


@pytest.mark.parametrize(
    ("sensor", "source", "grown"),
    [
        ("pt100_b", "IEC 60751", "IEC 60751"),
        ("thermocouple_t_2", "IEC 60584-1", "IEC 60584-1"),
        ("thermistor", "judgement", "the thermistor’s beta equation"),
        ("bimetal", "judgement", None),
    ],
)
def test_the_allowance_is_that_of_the_sensor_with_its_source(world, anchor, sensor, source, grown):
    Probe.objects.filter(pk=world.probe.pk).update(sensor=sensor)
    away = told(anchor)["Away from the temperature of a check"]
    assert f"up to ±{ALLOWANCES[Sensor(sensor)] / 1000:.2f} °C" in away and f"nearer to it. Source: {source}." in away
    assert (f"as its faults make it. Source: {grown}." in away) == bool(grown)
    assert ("as its faults make it" in away) == bool(grown)


def test_a_boiling_check_that_narrows_the_range_is_told_of(world):
    boiling(world.probe, world.cook, day(0.1))
    anchor = failed_after(world, "4.0")
    assert "along a straight line but for a small bend" in told(anchor)["Away from the temperature of a check"]


def test_without_a_boiling_check_the_page_says_what_one_would_bring(anchor):
    away = told(anchor)["Away from the temperature of a check"]
    assert "makes this range narrower" in away and "at boiling for hot food" in away


@pytest.mark.parametrize(
    ("sensor", "fault"),
    [
        ("thermistor", "a corroded plug reads too low"),
        ("thermocouple_k_1", "a reference that sags reads too low in ice and too high in hot food"),
        ("pt100_a", "a leak by moisture"),
        ("unknown", "Record the kind of sensor"),
    ],
)
def test_the_faults_of_the_sensor_are_told(world, anchor, sensor, fault):
    Probe.objects.filter(pk=world.probe.pk).update(sensor=sensor)
    assert fault in told(anchor)["Away from the temperature of a check"]


def test_the_rounding_of_a_reading_is_told_of(anchor):
    assert "half a step of its display" in told(anchor)["From range to outcome"]


def test_where_nothing_bounds_the_error_no_allowance_is_told(world):
    check = bad(world.probe, world.cook, day(1))
    said = told(f"check:{check.pk}")
    assert "Away from the temperature of a check" not in said
    assert "nothing can be told" in said["From the checks before and after"]
