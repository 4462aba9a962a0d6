"""The database and the pure function say the same of every reading."""

import uuid
from datetime import timedelta
from fractions import Fraction
from math import floor, log10

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from compliance.checks.models import BEGINNING, END, Check, Span
from compliance.limits.models import Direction
from compliance.metrology.assessment import true_range
from compliance.quarantine.assessing import Selection, bounds_of, page_of_ids, tallies
from compliance.quarantine.outcomes import OutcomeInput, outcome_of
from compliance.readings.models import Reading
from tests.checks.making import bad, day, good
from tests.world import make_limit, make_probe, make_reading, make_version

milli = st.integers(-60_000, 260_000)
error = st.one_of(st.none(), st.tuples(st.integers(-9_000, 9_000), st.integers(0, 3_000)))
boiling = st.one_of(st.none(), st.tuples(st.integers(-900, 900), st.integers(0, 500)))
holds = st.none() | st.sampled_from([0, 1, 6, 29, 30, 31, 120, 3_600, 604_800]) | st.integers(0, 10_000)
STEAM = 98_313


@st.composite
def limits(draw: st.DrawFn) -> dict:
    """Stores and displays; cooking with a hold time; cooling and reheating within a time."""
    kind = draw(st.sampled_from(["plain", "cook", "cool"]))
    if kind == "plain":
        return {"direction": draw(st.sampled_from(Direction.values)), "value_milli": draw(milli)}
    if kind == "cook":
        value = draw(st.integers(53_000, 91_000))
        return {"direction": Direction.AT_LEAST, "value_milli": value, "hold_s": draw(st.integers(1, 7_200))}
    within = draw(st.sampled_from([5_400, 7_200, 21_600]))
    return {"direction": draw(st.sampled_from(Direction.values)), "value_milli": draw(milli), "within_s": within}


# By how much a reading lies off its limit, and the times that go with it.
measured = st.tuples(st.integers(-12_000, 12_000), holds, st.none() | st.integers(5_399, 21_601))


def check_with(world, at, figures, kind="zero", reference=0, verdict="out_of_tolerance"):
    error_milli, expanded = figures
    return Check.objects.create(
        key=uuid.uuid4(),
        probe=world.probe,
        site=world.site,
        kind=kind,
        stage="as_found",
        checked_at=at,
        checked_by=world.cook,
        recorded_by=world.cook,
        error_milli=error_milli,
        expanded_milli=expanded,
        reference_milli=reference,
        tolerance_milli=1000,
        decision_rule="non_binary",
        verdict=verdict,
    )


def span_between(world, behind, ahead, steam=None):
    """A span between two checks at zero; with `steam`, a good boiling check an hour after each."""
    Span.objects.filter(probe=world.probe).delete()
    clear_checks(world)
    if steam:
        for at in (day(0), day(1)):
            check_with(world, at + timedelta(hours=1), steam, "boiling", STEAM, "in_tolerance")
    return Span.objects.create(
        probe=world.probe,
        starts_at=day(0),
        ends_at=day(1),
        standing="quarantined",
        cause="failed_ahead",
        behind=behind and check_with(world, day(0), behind),
        ahead=ahead and check_with(world, day(1), ahead),
        anchor="check:1",
    )


def clear_checks(world):
    """Earlier examples of a property leave theirs on the same probe: facts stay, so the next has another probe."""
    world.probe = make_probe(world.site, uuid.uuid4().hex[:8], by=world.manager, sensor=world.probe.sensor)


def oracle(version, value, hold, since, known) -> str:
    """From the range of the truth, with the equivalent temperatures by the textbook formula, in exact fractions."""
    kept = missed = Fraction(version.value_milli)
    if version.direction == Direction.AT_LEAST and version.hold_s and 54_000 <= version.value_milli <= 90_000:
        if not hold:
            kept = None
        if hold != 0:  # none recorded: it may have been held for a week
            decades = log10(version.hold_s / (hold or 604_800))
            zs = (4.8, 10.0) if decades < 0 else (10.0, 4.8)
            strict, missed = (version.value_milli + 1000 * z * decades for z in zs)
            strict = max(strict, min(version.value_milli, 60_000))
            missed = min(max(missed, 54_000), 90_000)
            kept = strict if hold and strict <= 90_000 else None
    elif version.hold_s:
        if hold is not None and hold < version.hold_s:
            return "broken"
        kept = None if hold is None else kept
    truth = true_range(value, known)
    if truth is None:
        return "undecided"
    coldest, hottest = truth
    (colder, _), (_, hotter) = true_range(value - 1, known), true_range(value + 1, known)
    if version.direction == Direction.AT_LEAST:
        held, broken = (
            kept is not None and coldest >= kept,
            hotter < missed or told_exactly(value, missed, known, False),
        )
    else:
        held, broken = hottest <= kept, colder > missed or told_exactly(value, missed, known, True)
    if version.within_s:
        timed = since is not None
        held, broken = held and timed and since <= version.within_s, broken and timed and since >= version.within_s
    return "held" if held else "broken" if broken else "undecided"


def told_exactly(value, missed, known, above) -> bool:
    """Where the range, rounded outward, ends at the limit: does a truth at the limit show as much as this?"""
    at = floor(missed)
    low, high = known.at(at)
    return value > at + high if above else value < at + low


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    sensor=st.sampled_from(["thermistor", "pt100_a", "thermocouple_k_2", "unknown"]),
    behind=error,
    ahead=error,
    steam=boiling,
    read=st.lists(st.tuples(limits(), measured), min_size=1, max_size=8),
)
def test_every_reading_is_classified_alike_by_database_and_function(world, sensor, behind, ahead, steam, read):
    world.probe.sensor = sensor
    span = span_between(world, behind, ahead, steam)
    (known,) = bounds_of([span])
    expected = {}
    for number, (wanted, (off, hold, since)) in enumerate(read):
        version = version_of(world, **wanted)
        value = edge_of(version, known, off)
        at = day(0) + timedelta(minutes=number + 1)
        Reading.objects.bulk_create([_reading(world, version, value, at, hold_s=hold, since_start_s=since)])
        outcome = outcome_of(version, OutcomeInput(value, hold, since), known)
        assert outcome == oracle(version, value, hold, since, known)
        expected[Reading.objects.latest("pk").pk] = outcome
    found = {pk: outcome for pk, outcome, _ in page_of_ids([span], Selection(sites=(world.site.pk,)), size=1000)}
    assert found == {pk: str(outcome) for pk, outcome in expected.items()}


@pytest.mark.parametrize("direction", Direction.values)
def test_at_each_edge_between_the_outcomes_the_database_says_what_the_function_says(world, direction):
    """A milli-degree to either side of the least and of the greatest error at the limit, and at it."""
    span = span_between(world, (-300, 60), (1_400, 120), (500, 150))
    version = version_of(world, direction=direction, value_milli=75_000)
    (known,) = bounds_of([span])
    values = [75_000 + edge + near for edge in known.at(75_000) for near in (-1, 0, 1)]
    at = [day(0) + timedelta(minutes=number + 1) for number in range(len(values))]
    Reading.objects.bulk_create([_reading(world, version, *pair) for pair in zip(values, at, strict=True)])
    found = {pk: outcome for pk, outcome, _ in page_of_ids([span], Selection(sites=(world.site.pk,)), size=1000)}
    told = [found[pk] for pk in Reading.objects.order_by("taken_at").values_list("pk", flat=True)]
    assert told == [str(outcome_of(version, OutcomeInput(value), known)) for value in values]
    held, open_, broken = "held", "undecided", "broken"
    at_most, at_least = [held, held, open_, open_, open_, broken], [broken, open_, open_, open_, held, held]
    assert told == (at_most if direction == Direction.AT_MOST else at_least)


def version_of(world, *, value_milli, **fields):
    limit = make_limit(world.site, by=world.manager, code=uuid.uuid4().hex)
    return make_version(limit, by=world.manager, value=str(value_milli / 1000), effective_from=day(-1), **fields)


def edge_of(version, known, off: int) -> int:
    """A reading near one of the edges between the outcomes, or at it; `off` chooses which."""
    error = known.at(version.value_milli)
    if error is None or abs(off) > 6_000:
        return version.value_milli + off
    return version.value_milli + error[off % 2] + off // 2 % 5 - 2


def _reading(world, version, value, at, **times):
    return Reading(
        key=uuid.uuid4().hex,
        probe=world.probe,
        site=world.site,
        limit_version=version,
        item="Soup",
        typed="0",
        unit="C",
        value_milli=value,
        taken_at=at,
        taken_by=world.cook,
        recorded_by=world.cook,
        **times,
    )


def story(world, read, **wanted):
    """What is said of a reading between a check with no error and one that found a probe one degree high, ±0.05 °C."""
    world.probe.sensor = "pt100_a"
    span = span_between(world, (1_000, 50), (1_000, 50))
    version = version_of(world, **wanted)
    value, times = read
    Reading.objects.bulk_create([_reading(world, version, value, day(0.5), **times)])
    return page_of_ids([span], Selection(sites=(world.site.pk,)))[0][1]


COOK = {"direction": Direction.AT_LEAST, "value_milli": 75_000, "hold_s": 30}


@pytest.mark.parametrize(
    "value, hold, outcome",
    [
        (75_000, None, "undecided"),
        (79_000, None, "undecided"),
        (50_000, None, "broken"),
        (75_000, 30, "broken"),
        (77_000, 30, "held"),
        (75_000, 60, "undecided"),
        (75_000, 120, "held"),
        (79_000, 29, "held"),
        (79_000, 6, "broken"),
        (80_000, 6, "undecided"),
        (85_000, 6, "held"),
        (90_000, 0, "undecided"),
        (60_000, 604_800, "undecided"),
    ],
)
def test_a_probe_one_degree_high_and_a_time_that_food_was_held(world, value, hold, outcome):
    """At least 75 °C for 30 s: 75.0 shown was 74, which delivers 0.736 of it in 30 s (z 7.5) and enough in 2 minutes.

    In 6 s it takes at least 75 + 4.8·lg 5 = 78.36 °C: 79.0 shown was at most 78.2, an error of 1 °C at zero being no less there.
    """
    assert story(world, (value, {"hold_s": hold}), **COOK) == outcome


FREEZE = {"direction": Direction.AT_MOST, "value_milli": -20_000, "hold_s": 604_800}


@pytest.mark.parametrize(
    "value, hold, outcome",
    [
        (-25_000, 604_800, "held"),
        (-25_000, None, "undecided"),
        (-25_000, 604_799, "broken"),
        (-15_000, None, "broken"),
    ],
)
def test_frozen_for_too_short_a_time_is_broken_and_for_an_unknown_one_cannot_be_told(world, value, hold, outcome):
    """Food Code 2022, 3-402.11(A)(1): parasites in fish, at most -20 °C for at least 168 hours."""
    assert story(world, (value, {"hold_s": hold}), **FREEZE) == outcome


def test_a_reading_without_its_time_stands_beside_those_with_one(world):
    """79.0 °C, in truth 78: not recorded how long, for nothing at all, for half a minute."""
    span = span_between(world, (1_000, 50), (1_000, 50))
    version = version_of(world, **COOK)
    made = [_reading(world, version, 79_000, day(0.5), hold_s=hold) for hold in (None, 0, 30)]
    Reading.objects.bulk_create(made)
    found = {pk: outcome for pk, outcome, _ in page_of_ids([span], Selection(sites=(world.site.pk,)))}
    told = {reading.hold_s: found[reading.pk] for reading in Reading.objects.all()}
    assert told == {None: "undecided", 0: "undecided", 30: "held"}


@pytest.mark.parametrize(
    "value, since, outcome",
    [
        (20_000, 7_200, "held"),
        (20_000, 7_201, "undecided"),
        (25_000, 7_199, "undecided"),
        (25_000, 7_200, "broken"),
        (25_000, None, "undecided"),
        (20_000, None, "undecided"),
        (22_000, 7_200, "undecided"),
    ],
)
def test_the_first_step_of_cooling(world, value, since, outcome):
    """Food Code 2022, 3-501.14(A)(1): at most 70 °F, here 21 °C, within 2 hours."""
    cool = {"direction": Direction.AT_MOST, "value_milli": 21_000, "within_s": 7_200}
    assert story(world, (value, {"since_start_s": since}), **cool) == outcome


def test_a_limit_of_another_site_cannot_be_told_and_no_reading_is_lost(world):
    span = span_between(world, (0, 50), (0, 50))
    version = make_limit(world.other_site, by=world.manager).versions.get()
    Reading.objects.bulk_create([_reading(world, version, 4_000, day(0.5))])
    assert [outcome for _, outcome, _ in page_of_ids([span], Selection(sites=(world.site.pk,)))] == ["undecided"]


def test_a_case_is_counted_in_a_fixed_number_of_statements_however_many_readings_it_holds(world):
    good(world.probe, world.cook, day(0))
    bad(world.probe, world.cook, day(7))
    span = Span.objects.select_related("probe", "behind", "ahead").get(probe=world.probe, ends_at=day(7))
    for number in range(3):
        make_reading(world.probe, world.limit, "4.0", day(1 + number), by=world.cook)
        with CaptureQueriesContext(
            connection,
        ) as queries:
            counted = tallies([span], (world.site.pk,))
        assert len(queries) == 4, [q["sql"][:80] for q in queries]
        assert sum(t.readings for t in counted) == number + 1


def test_a_reading_at_the_very_time_of_the_failed_check_is_inside_and_one_at_the_good_check_is_not(world):
    good(world.probe, world.cook, day(0))
    bad(world.probe, world.cook, day(7))
    span = Span.objects.select_related("probe", "behind", "ahead").get(probe=world.probe, ends_at=day(7))
    make_reading(world.probe, world.limit, "4.0", day(0), by=world.cook)
    inside = make_reading(world.probe, world.limit, "4.0", day(7), by=world.cook)
    assert [pk for pk, *_ in page_of_ids([span], Selection(sites=(world.site.pk,)))] == [inside.pk]


@pytest.mark.parametrize(("starts", "ends"), [(BEGINNING, day(1)), (day(0), END)])
def test_open_ends_of_a_timeline_hold_readings(world, starts, ends):
    Span.objects.filter(probe=world.probe).delete()
    span = Span.objects.create(
        probe=world.probe, starts_at=starts, ends_at=ends, standing="quarantined", anchor="check:1"
    )
    make_reading(world.probe, world.limit, "4.0", day(0.5), by=world.cook)
    assert [t.outcome for t in tallies([span], (world.site.pk,))] == ["undecided"]
