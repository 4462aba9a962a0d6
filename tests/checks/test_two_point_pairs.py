"""Which boiling check belongs to a check at zero."""

import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from compliance.checks.actions import void_check, void_event
from compliance.checks.models import Check, CheckKind
from compliance.checks.queries import companions
from compliance.checks.two_point_pairs import Moment, nearest
from tests.world import make_probe

from .making import day, event, good


def moment(number, stage="as_found", key=1):
    return Moment(day(number), stage, key)


@pytest.mark.parametrize(
    ("others", "altered", "chosen"),
    [
        ([], [], None),
        ([moment(17, key=2)], [], 2),
        ([moment(17.01, key=2)], [], None),
        ([moment(3, key=2)], [], 2),
        ([moment(2.99, key=2)], [], None),
        ([moment(8, key=2), moment(11, key=3)], [], 3),
        ([moment(9, key=2), moment(11, key=3)], [], 2),
        ([moment(11, key=2), moment(11, key=3)], [], 3),
        ([moment(11, key=2), moment(7, key=3)], [10.5], 3),
        ([moment(11, key=2)], [10.5], None),
        ([moment(11, key=2)], [9, 12], 2),
        # At the minute of an alteration a check as found comes before it and one as left after it.
        ([moment(11, key=2)], [11], 2),
        ([moment(11, "as_left", key=2)], [11], None),
        ([moment(9, key=2)], [9], None),
        ([moment(9, "as_left", key=2)], [9], 2),
        ([moment(10, "as_left", key=2)], [10], None),
    ],
)
def test_the_nearest_within_a_week_with_nothing_altered_between(others, altered, chosen):
    found = nearest(moment(10), others, [day(number) for number in altered])
    assert (found and found.key) == chosen


def boiling(probe, by, at, verdict="in_tolerance", stage="as_found"):
    return Check.objects.create(
        key=uuid.uuid4(),
        probe=probe,
        site=probe.site,
        kind=CheckKind.BOILING,
        stage=stage,
        checked_at=at,
        checked_by=by,
        recorded_by=by,
        reading_milli=98_400,
        reference_milli=98_300,
        error_milli=100,
        expanded_milli=150,
        tolerance_milli=1000,
        decision_rule="non_binary",
        verdict=verdict,
    )


def test_companions_are_good_live_and_of_the_same_probe(probe, cook, supervisor, site, manager):
    zero, other = good(probe, cook, day(10)), make_probe(site, "P2", by=manager)
    boiling(probe, cook, day(10.1), verdict="out_of_tolerance")
    boiling(other, cook, day(10.1))
    void_check(by=supervisor, check=boiling(probe, cook, day(10.2)), reason="Salted water.")
    assert companions([zero]) == {}
    chosen = boiling(probe, cook, day(12))
    assert companions([zero]) == {zero.pk: chosen}


def test_an_adjustment_parts_them_and_one_struck_out_does_not(probe, cook, supervisor):
    before, after = good(probe, cook, day(10)), good(probe, cook, day(11), stage="as_left")
    chosen = boiling(probe, cook, day(10.2))
    adjusted = event(probe, cook, "adjusted", day(10.5))
    assert companions([before, after]) == {before.pk: chosen}
    void_event(by=supervisor, event=adjusted, reason="It was probe P2.")
    assert companions([before, after]) == {before.pk: chosen, after.pk: chosen}


def test_many_checks_cost_two_queries(probe, cook):
    checks = [good(probe, cook, day(number)) for number in range(6)]
    boiling(probe, cook, day(3))
    with CaptureQueriesContext(connection) as captured:
        assert len(companions(checks)) == 6 and len(captured) == 2
    assert companions([]) == {}
