"""The database and the pure function say the same of every reading."""

import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from compliance.checks.models import BEGINNING, END, Check, Span
from compliance.checks.queries import bracket_of
from compliance.limits.models import Direction
from compliance.metrology.assessment import bounds, classify
from compliance.metrology.vocabulary import Direction as PureDirection
from compliance.quarantine.assessing import Selection, page_of_ids, tallies
from compliance.readings.models import Reading
from tests.checks.making import bad, day, good
from tests.world import make_limit, make_reading

milli = st.integers(-60_000, 260_000)
error = st.one_of(st.none(), st.tuples(st.integers(-9_000, 9_000), st.integers(0, 3_000)))


def check_with(world, at, figures):
    error_milli, expanded = figures
    return Check.objects.create(
        key=uuid.uuid4(), probe=world.probe, site=world.site, kind="zero", stage="as_found", checked_at=at,
        checked_by=world.cook, recorded_by=world.cook, error_milli=error_milli, expanded_milli=expanded,
        tolerance_milli=1000, decision_rule="non_binary", verdict="out_of_tolerance",
    )  # fmt: skip


def span_between(world, behind, ahead):
    Span.objects.filter(probe=world.probe).delete()
    return Span.objects.create(
        probe=world.probe, starts_at=day(0), ends_at=day(1), standing="quarantined", cause="failed_ahead",
        behind=behind and check_with(world, day(0), behind), ahead=ahead and check_with(world, day(1), ahead), anchor="check:1",
    )  # fmt: skip


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    sensor=st.sampled_from(["thermistor", "pt100_a", "thermocouple_k_2", "unknown"]),
    behind=error,
    ahead=error,
    read=st.lists(st.tuples(milli, milli, st.sampled_from(Direction.values)), min_size=1, max_size=8),
)
def test_every_reading_is_classified_alike_by_database_and_function(world, sensor, behind, ahead, read):
    world.probe.sensor = sensor
    world.probe.save()
    span = span_between(world, behind, ahead)
    expected = {}
    for number, (value, limit_value, direction) in enumerate(read):
        limit = make_limit(
            world.site, by=world.manager, code=uuid.uuid4().hex, direction=direction, value=str(limit_value / 1000)
        )
        version = limit.versions.get()
        Reading.objects.bulk_create([_reading(world, version, value, day(0) + timedelta(minutes=number + 1))])
        pk = Reading.objects.latest("pk").pk
        expected[pk] = classify(value, version.value_milli, PureDirection(direction), bounds(bracket_of(span)))
    found = dict(page_of_ids([span], Selection(sites=(world.site.pk,)), size=1000))
    assert {pk: found[pk] for pk in expected} == {pk: str(outcome) for pk, outcome in expected.items()}


def _reading(world, version, value, at):
    return Reading(
        key=uuid.uuid4().hex, probe=world.probe, site=world.site, limit_version=version, item="Soup", typed="0", unit="C",
        value_milli=value, taken_at=at, taken_by=world.cook, recorded_by=world.cook,
    )  # fmt: skip


def test_a_case_is_counted_in_two_statements_however_many_readings_it_holds(world):
    good(world.probe, world.cook, day(0))
    bad(world.probe, world.cook, day(7))
    span = Span.objects.select_related("probe", "behind", "ahead").get(probe=world.probe, ends_at=day(7))
    for number in range(3):
        make_reading(world.probe, world.limit, "4.0", day(1 + number), by=world.cook)
        with CaptureQueriesContext(
            connection,
        ) as queries:
            counted = tallies([span], (world.site.pk,))
        assert len(queries) == 2
        assert sum(t.readings for t in counted) == number + 1


def test_a_reading_at_the_very_time_of_the_failed_check_is_inside_and_one_at_the_good_check_is_not(world):
    good(world.probe, world.cook, day(0))
    bad(world.probe, world.cook, day(7))
    span = Span.objects.select_related("probe", "behind", "ahead").get(probe=world.probe, ends_at=day(7))
    make_reading(world.probe, world.limit, "4.0", day(0), by=world.cook)
    inside = make_reading(world.probe, world.limit, "4.0", day(7), by=world.cook)
    assert [pk for pk, _ in page_of_ids([span], Selection(sites=(world.site.pk,)))] == [inside.pk]


@pytest.mark.parametrize(("starts", "ends"), [(BEGINNING, day(1)), (day(0), END)])
def test_open_ends_of_a_timeline_hold_readings(world, starts, ends):
    Span.objects.filter(probe=world.probe).delete()
    span = Span.objects.create(
        probe=world.probe, starts_at=starts, ends_at=ends, standing="quarantined", anchor="check:1"
    )
    make_reading(world.probe, world.limit, "4.0", day(0.5), by=world.cook)
    assert [t.outcome for t in tallies([span], (world.site.pk,))] == ["undecided"]
