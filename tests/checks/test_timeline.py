"""The stored timeline is the one that `bracketing.cut` gives, in any order of arrival, at a constant number of queries."""

from datetime import timedelta

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from compliance.checks.actions import void_check, void_event
from compliance.checks.models import BEGINNING, END, Check, Span
from compliance.checks.queries import standing_subquery
from compliance.checks.timeline import lock, recut
from compliance.metrology.bracketing import Mark, MarkKind, cut, mark_kind
from compliance.metrology.vocabulary import Stage, Verdict
from compliance.probes.models import ALTERATIONS, Event, EventKind
from compliance.readings.models import Reading
from tests.world import make_probe

from .making import bad, day, event, good, standings, unclear

MAKE = {"good": good, "bad": bad, "unclear": unclear}
CHECKS = st.tuples(st.sampled_from(sorted(MAKE)), st.sampled_from(list(Stage)), st.integers(0, 6), st.booleans())
EVENTS = st.tuples(
    st.just("event"), st.sampled_from([*ALTERATIONS, EventKind.DROPPED]), st.integers(0, 6), st.booleans()
)


def live_to_the_naive(probe):
    """What is live, read row by row."""
    marks = []
    for check in Check.objects.filter(probe=probe):
        kind = mark_kind(Verdict(check.verdict), Stage(check.stage))
        if kind and not hasattr(check, "void"):
            marks.append(Mark(at=check.checked_at, kind=kind, key=f"check:{check.pk}", order=check.pk))
    for happened in Event.objects.filter(probe=probe):
        if happened.kind in ALTERATIONS and not hasattr(happened, "void"):
            key = f"event:{happened.pk}"
            marks.append(Mark(at=happened.at, kind=MarkKind.ALTERATION, key=key, order=happened.pk))
    return marks


def told(span):
    behind, ahead = (f"check:{c}" if c else None for c in (span.behind_id, span.ahead_id))
    return (span.starts_at, span.ends_at, span.standing, behind, ahead, span.anchor, span.cause)


def expected(span):
    return (span.start or BEGINNING, span.end or END, span.standing.value, span.behind, span.ahead,
            span.anchor or "", span.cause.value if span.cause else "")  # fmt: skip


def live(probe, person, history):
    for what, which, at, struck in history:
        record = (
            event(probe, person, which, day(at)) if what == "event" else MAKE[what](probe, person, day(at), stage=which)
        )
        if struck and not hasattr(record, "void"):
            void = void_event if what == "event" else void_check
            void(by=person, reason="struck", **{"event" if what == "event" else "check": record})


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(history=st.lists(CHECKS | EVENTS, max_size=7))
def test_any_history_is_stored_as_it_is_cut(probe, supervisor, history):
    with transaction.atomic():
        live(probe, supervisor, history)
        stored = [told(span) for span in Span.objects.filter(probe=probe).order_by("ends_at")]
        assert stored == ([expected(s) for s in cut(live_to_the_naive(probe))] if history else [])
        transaction.set_rollback(True)


def test_a_probe_without_checks_is_unproven_and_due_since_it_came(probe):
    recut(lock(probe))
    assert standings(probe) == ["unproven"]
    probe.refresh_from_db()
    assert probe.state.due_at == probe.placements.get().starts_at and probe.state.due_because == "never checked"


def test_cutting_again_writes_only_what_differs(probe, cook):
    for number in range(4):
        good(probe, cook, day(number))
    before = dict(probe.spans.values_list("ends_at", "pk"))
    with CaptureQueriesContext(connection) as captured:
        recut(lock(probe))
    assert not [q for q in captured if "checks_span" in q["sql"] and not q["sql"].startswith("SELECT")]
    good(probe, cook, day(9))
    after = dict(probe.spans.values_list("ends_at", "pk"))
    assert before.items() <= after.items() and len(after) == len(before) + 1


def queries_to_fail(probe, cook, days):
    for number in range(days):
        good(probe, cook, day(number))
        event(probe, cook, EventKind.DOUBTED, day(number + 0.5))
    with CaptureQueriesContext(connection) as captured:
        bad(probe, cook, day(days))
    return len(captured)


def test_the_number_of_queries_does_not_grow_with_the_timeline(probe, cook, site):
    assert queries_to_fail(probe, cook, 5) == queries_to_fail(make_probe(site, "P9", by=cook), cook, 15)


def reading(probe, limit, by, at):
    return Reading.objects.create(
        key=f"{at.timestamp():.0f}", probe=probe, site=probe.site, limit_version=limit.versions.get(), item="milk",
        typed="4", unit="C", value_milli=4000, taken_at=at, taken_by=by, recorded_by=by,
    )  # fmt: skip


def test_a_reading_stands_as_the_span_it_falls_in(probe, limit, cook):
    good(probe, cook, day(0))
    bad(probe, cook, day(7))
    good(probe, cook, day(8))
    for at in (day(-1), day(0), day(0) + timedelta(seconds=1), day(7), day(7.5), day(8), day(9)):
        reading(probe, limit, cook, at)
    found = (
        Reading.objects.order_by("taken_at").annotate(standing=standing_subquery()).values_list("standing", flat=True)
    )
    assert list(found) == [
        "unproven",
        "unproven",
        "quarantined",
        "quarantined",
        "quarantined",
        "quarantined",
        "pending",
    ]


def test_a_reading_of_a_probe_never_cut_is_unproven(probe, limit, cook):
    reading(probe, limit, cook, day(1))
    assert Reading.objects.annotate(standing=standing_subquery()).get().standing == "unproven"


def test_standing_is_one_look_up_in_an_index(probe, limit, cook):
    if connection.vendor == "postgresql":
        connection.cursor().execute("SET LOCAL enable_seqscan = off")
    plan = Reading.objects.annotate(standing=standing_subquery()).explain()
    inner = plan[plan.upper().index("SUBQUERY" if connection.vendor == "sqlite" else "SUBPLAN") :]
    assert "(probe_id=? AND ends_at>?)" in inner or "Index Scan using span_by_end" in inner
    assert "TEMP B-TREE" not in inner and "Sort" not in inner


@pytest.mark.parametrize("kind", [EventKind.WITHDRAWN, EventKind.DROPPED])
def test_a_late_entry_before_everything_is_taken_in(probe, cook, kind):
    good(probe, cook, day(5))
    event(probe, cook, kind, day(1))
    probe.refresh_from_db()
    assert probe.withdrawn == (kind == EventKind.WITHDRAWN)
