"""What is known of a probe's error on either side of a span: the checks there, and the boiling checks beside them."""

import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from compliance.checks.models import Check, Span
from compliance.checks.queries import bracket_of, brackets_of

from .making import bad, certificate, day, good

LOADED = Span.objects.select_related("probe", "behind", "ahead")
MINUTES = timedelta(minutes=20)


def boiling(probe, cook, at, reference=98_313):
    return Check.objects.create(
        key=uuid.uuid4(),
        probe=probe,
        site=probe.site,
        kind="boiling",
        stage="as_found",
        checked_at=at,
        checked_by=cook,
        recorded_by=cook,
        error_milli=300,
        expanded_milli=150,
        reference_milli=reference,
        tolerance_milli=1000,
        decision_rule="non_binary",
        verdict="in_tolerance",
    )


def points(side):
    return [(point.temperature, point.error) for point in side]


def span_after(check):
    return Span(probe=check.probe, starts_at=check.checked_at, ends_at=day(30), behind=check)


def test_a_bracket_holds_the_errors_of_both_sides(probe, cook):
    good(probe, cook, day(0))
    failed = bad(probe, cook, day(7))
    bracket = bracket_of(LOADED.get(ends_at=day(7)))
    assert (points(bracket.start), points(bracket.end)) == ([(0, 100)], [(0, 2400)])
    assert bracket.end[0].expanded == failed.expanded_milli and bracket.sensor == probe.sensor
    first = bracket_of(LOADED.get(ends_at=day(0)))
    assert (first.start, points(first.end)) == ((), [(0, 100)])


def test_a_certificate_counts_at_its_own_temperature(probe, cook):
    span = span_after(certificate(probe, cook, day(0), reference_milli=60_000))
    assert points(bracket_of(span).start) == [(60_000, 100)]


def test_a_good_check_is_joined_by_the_boiling_check_of_the_same_week(probe, cook):
    good(probe, cook, day(0))
    boiling(probe, cook, day(-5))
    bad(probe, cook, day(9))
    assert points(bracket_of(LOADED.get(ends_at=day(9))).start) == [(0, 100), (98_313, 300)]


@pytest.mark.parametrize("after, joined", [(MINUTES, True), (-MINUTES, True), (timedelta(days=-1), False)])
def test_a_failed_check_is_joined_only_by_one_of_the_same_sitting(probe, cook, after, joined):
    """The probe may have been dropped since yesterday's boiling check."""
    good(probe, cook, day(0))
    bad(probe, cook, day(20))
    boiling(probe, cook, day(20) + after)
    assert (len(bracket_of(LOADED.get(ends_at=day(20))).end) == 2) is joined


def test_a_boiling_check_close_to_the_temperature_of_a_certificate_tells_no_line(probe, cook):
    span = span_after(certificate(probe, cook, day(0), reference_milli=90_000))
    boiling(probe, cook, day(0))
    assert len(bracket_of(span).start) == 1


def test_many_spans_cost_two_queries(probe, cook):
    for number in range(4):
        good(probe, cook, day(number))
        boiling(probe, cook, day(number) + MINUTES)
    spans = list(LOADED.filter(probe=probe))
    with CaptureQueriesContext(connection) as queries:
        assert len(brackets_of(spans)) == 5
    assert len(queries) == 2
