"""Cooling and reheating: a limit to be reached within a time, and the time since it began."""

import uuid

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from compliance.limits.models import Direction
from compliance.readings.importing import import_file
from compliance.readings.models import Deviation, Reading
from compliance.readings.wording import limit_notes, verdict_of
from compliance.records.formatting import value
from shared.units import Unit
from tests.readings.files import csv_file, row
from tests.readings.helpers import form_data, take
from tests.world import make_limit

pytestmark = pytest.mark.usefixtures("clock")


@pytest.fixture
def cooling(world):
    """US Food Code 2022, 3-501.14(A)(1): at most 70 °F within 2 hours from 135 °F."""
    return make_limit(world.site, by=world.manager, code="cooling", value="70", unit=Unit.FAHRENHEIT, within_s=7200)


@pytest.fixture
def reheating(world):
    """US Food Code 2022, 3-403.11: at least 165 °F for 15 s, within 2 hours."""
    return make_limit(
        world.site,
        by=world.manager,
        code="reheat",
        direction=Direction.AT_LEAST,
        value="165",
        unit=Unit.FAHRENHEIT,
        hold_s=15,
        within_s=7200,
    )


@pytest.mark.parametrize(
    "typed, since, broken, tone, heading",
    [
        ("70", 3_600, False, "good", "The limit is met"),
        ("70", 7_200, False, "good", "The limit is met"),
        ("70", 7_201, False, "caution", "Met, but perhaps too late"),
        ("70.1", 7_199, False, "caution", "On its way, not there yet"),
        ("70.1", 7_200, True, "bad", "The limit is not met"),
        ("70.1", 9_000, True, "bad", "The limit is not met"),
        ("70.1", 0, False, "caution", "On its way, not there yet"),
        ("70", None, False, "caution", "Met, but the time is missing"),
        ("70.1", None, True, "bad", "The limit is not met"),
    ],
)
def test_above_the_limit_counts_once_the_time_has_run_out(world, cooling, typed, since, broken, tone, heading):
    reading = take(world, limit=cooling, typed=typed, unit="F", since_start_s=since)
    assert hasattr(reading, "deviation") is broken
    told = verdict_of(reading, reading.deviation.why if broken else "")
    assert (told["tone"], told["heading"]) == (tone, heading)


def test_the_deviation_says_how_long_ago_cooling_began(world, cooling):
    why = take(world, limit=cooling, typed="77", unit="F", since_start_s=9_000).deviation.why
    assert why == (
        "77.0 °F is above the limit of at most 70 °F 2 h 30 min after cooling began; it was to be reached within 2 h"
    )


def test_what_is_on_its_way_up_is_not_held_too_short_either(world, reheating):
    assert not hasattr(take(world, limit=reheating, typed="150", unit="F", hold_s=0, since_start_s=600), "deviation")
    why = take(world, limit=reheating, typed="150", unit="F", hold_s=0, since_start_s=7_200).deviation.why
    assert why.startswith("150.0 °F is below the limit of at least 165 °F 2 h after heating began")
    assert why.endswith("; held for 0 s, the limit asks for 15 s")
    assert len(why) <= Deviation._meta.get_field("why").max_length


def test_a_limit_without_a_time_takes_no_notice_of_one(world):
    assert hasattr(take(world, typed="5.1", since_start_s=60), "deviation")
    assert not hasattr(take(world, typed="5.0", since_start_s=60_000), "deviation")


@pytest.mark.parametrize("since", [-1, 7 * 24 * 3600 + 1])
def test_a_time_that_cannot_be_is_refused(world, cooling, since):
    with pytest.raises(ValidationError) as refused:
        take(world, limit=cooling, since_start_s=since)
    assert set(refused.value.error_dict) == {"since_start_s"} and not Reading.objects.exists()


def test_the_page_asks_for_the_time_where_the_limit_does(world, as_person, cooling, reheating):
    client = as_person(world.cook)
    for limit, label in ((cooling, "Time since cooling began"), (reheating, "Time since heating began")):
        asked = client.get(reverse("reading_add"), {"limit": limit.pk}, headers={"HX-Request": "true"})
        assert label in asked.content.decode()
    plain = client.get(reverse("reading_add"), {"limit": world.limit.pk}, headers={"HX-Request": "true"})
    assert "began" not in plain.content.decode()


def test_a_missing_time_is_asked_for_once_and_a_given_one_is_kept(world, as_person, cooling):
    client, url = as_person(world.cook), reverse("reading_add") + f"?site={world.site.pk}"
    sent = form_data(world, limit=cooling.pk, typed="75", unit="F")
    asked = client.post(url, sent).content.decode()
    assert "The limit is to be reached within 2 h, and no time since cooling began is given" in asked
    assert not Reading.objects.exists()
    assert client.post(url, sent | {"since_start_s": "1 h 50 min"}).status_code == 302
    reading = Reading.objects.get()
    assert reading.since_start_s == 6_600 and not hasattr(reading, "deviation")
    page = client.get(reverse("reading_detail", args=[reading.pk])).content.decode()
    assert "Since cooling began" in page and "1 h 50 min" in page and "10 min of 2 h are left" in page


def test_a_correction_keeps_the_time_and_can_change_it(world, as_person, cooling):
    reading = take(world, limit=cooling, typed="75", unit="F", since_start_s=6_600)
    client, url = as_person(world.cook), reverse("reading_correct", args=[reading.pk])
    assert 'value="1 h 50 min"' in client.get(url).content.decode()
    sent = form_data(world, limit=cooling.pk, typed="75", unit="F", since_start_s="2 h 5 min", reason="Wrong batch.")
    assert client.post(url, sent | {"key": uuid.uuid4().hex}).status_code == 302
    new = Reading.objects.get(corrects__voids=reading)
    assert new.since_start_s == 7_500 and new.deviation


def test_a_file_brings_the_time_and_is_judged_by_it(world, cooling):
    rows = [
        row(item=f"stew {since}", limit="cooling", value="75", unit="F", since_start_s=since)
        for since in ("7199", "7200", "")
    ]
    made = import_file(by=world.manager, file_name="stew.csv", content=csv_file(*rows, row(since_start_s="2 h")))
    stored = dict(Reading.objects.values_list("item", "since_start_s"))
    assert stored == {"stew 7199": 7_199, "stew 7200": 7_200, "stew": None}
    assert set(Deviation.objects.values_list("reading__item", flat=True)) == {"stew 7200", "stew"}
    assert made.doubts == [[4, "the limit is to be reached within 2 h, and no time since cooling began is given"]]
    assert made.refused == [[5, "since_start_s “2 h” is not a number of whole seconds, at most a week"]]


def test_how_to_read_such_a_limit(cooling):
    (note,) = limit_notes(cooling.versions.get())
    assert note.endswith("write down how long ago cooling began.")


def test_a_printed_reading_says_when_it_was_read():
    assert value("20.5", "C", 20_500, None, 6_600).replace("\N{NO-BREAK SPACE}", " ") == "20.5 °C after 1 h 50 min"
    both = value("75", "C", 75_000, 15, 0).replace("\N{NO-BREAK SPACE}", " ")
    assert both == "75 °C for 15 s after 0 s"
