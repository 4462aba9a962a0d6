"""The stored timeline is the one that `bracketing.cut` gives, in any order of arrival, at a constant number of queries."""

from datetime import timedelta

import pytest
from django.db import connection
from django.db.transaction import TransactionManagementError
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from compliance.checks.actions import void_check, void_event
from compliance.checks.models import BEGINNING, END, Check, Span
from compliance.checks.queries import bracket_of, standing_subquery
from compliance.checks.timeline import lock, recut
from compliance.metrology.bracketing import CheckFinding, Mark, MarkKind, cut, weigh
from compliance.metrology.vocabulary import CheckKind, Stage, Verdict
from compliance.plans.schedule import STARTING, TICK
from compliance.probes.models import ALTERATIONS, Event, EventKind
from compliance.readings.models import Reading
from tests.undone import undone
from tests.world import make_probe

from .making import bad, boiling, certificate, day, event, good, standings, unclear


def good_boiling(probe, by, at, **changes):
    return boiling(probe, by, at, "98.4", **changes)


def bad_boiling(probe, by, at, **changes):
    return boiling(probe, by, at, "101.9", **changes)


def bad_far_paper(probe, by, at, **changes):
    return certificate(probe, by, at, error_milli=2400, reference_milli=60_000, **changes)


MAKE = {
    "good": good,
    "bad": bad,
    "unclear": unclear,
    "good boiling": good_boiling,
    "bad boiling": bad_boiling,
    "bad paper at 60": bad_far_paper,
}
CHECKS = st.tuples(st.sampled_from(sorted(MAKE)), st.sampled_from(list(Stage)), st.integers(0, 6), st.booleans())
EVENTS = st.tuples(
    st.just("event"), st.sampled_from([*ALTERATIONS, EventKind.DROPPED]), st.integers(0, 6), st.booleans()
)


def finding_of(check):
    return CheckFinding(
        at=check.checked_at,
        kind=CheckKind(check.kind),
        reference=check.reference_milli / 1000,
        stage=Stage(check.stage),
        verdict=Verdict(check.verdict),
        key=f"check:{check.pk}",
        order=check.pk,
    )


def live_to_the_naive(probe):
    """What is live, read row by row."""
    marks = []
    for check in Check.objects.filter(probe=probe):
        if not hasattr(check, "void"):
            marks += weigh([finding_of(check)])
    for happened in Event.objects.filter(probe=probe):
        if happened.kind in ALTERATIONS and not hasattr(happened, "void"):
            key = f"event:{happened.pk}"
            gone = happened.kind == "gone"
            marks.append(Mark(at=happened.at, kind=MarkKind.ALTERATION, key=key, order=happened.pk, gone=gone))
    return marks


def told(span):
    behind, ahead, doubt = (f"check:{c}" if c else None for c in (span.behind_id, span.ahead_id, span.doubt_id))
    return (span.starts_at, span.ends_at, span.standing, behind, ahead, doubt, span.anchor, span.cause)


def expected(span):
    return (
        span.start or BEGINNING,
        span.end or END,
        span.standing.value,
        span.behind,
        span.ahead,
        span.doubt,
        span.anchor or "",
        span.cause.value if span.cause else "",
    )


def live(probe, person, history):
    for what, which, at, struck in history:
        record = (
            event(probe, person, which, day(at), "dead")
            if what == "event"
            else MAKE[what](probe, person, day(at), stage=which)
        )
        if struck and not hasattr(record, "void"):
            void = void_event if what == "event" else void_check
            void(by=person, reason="struck", **{"event" if what == "event" else "check": record})


@settings(max_examples=settings.default.max_examples // 4, suppress_health_check=list(HealthCheck))
@given(history=st.lists(CHECKS | EVENTS, max_size=7))
def test_any_history_is_stored_as_it_is_cut(probe, supervisor, history):
    with undone():
        live(probe, supervisor, history)
        stored = [told(span) for span in Span.objects.filter(probe=probe).order_by("ends_at")]
        assert stored == ([expected(s) for s in cut(live_to_the_naive(probe))] if history else [])


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


def test_each_table_is_read_once_and_what_is_done_already_is_not_written_again(probe, cook, clock):
    """The second of a day asks for nothing else than the first."""
    good(probe, cook, timezone.now() - timedelta(hours=2))
    with CaptureQueriesContext(connection) as captured:
        good(probe, cook, timezone.now() - timedelta(hours=1))
    for table in ("plans_reminder", "probes_placement", "plans_checkplan"):
        asked = [q["sql"] for q in captured if f'FROM "{table}"' in q["sql"]]
        assert len(asked) == 1, asked
    written = [q["sql"] for q in captured if not q["sql"].startswith("SELECT")]
    assert not [sql for sql in written if "plans_reminder" in sql or '"probes_probe" SET' in sql]


def test_a_probe_is_held_in_a_transaction_only(probe, monkeypatch):
    monkeypatch.setattr(connection, "get_autocommit", lambda: True)
    with pytest.raises(TransactionManagementError):
        lock(probe)


def queries_to_fail(probe, cook, days):
    for number in range(days):
        good(probe, cook, day(number))
        event(probe, cook, EventKind.DOUBTED, day(number + 0.5))
    with CaptureQueriesContext(connection) as captured:
        bad(probe, cook, day(days))
    return len(captured)


def test_the_number_of_queries_does_not_grow_with_the_timeline(probe, cook, site):
    assert queries_to_fail(probe, cook, 3) == queries_to_fail(make_probe(site, "P9", by=cook), cook, 9)


def reading(probe, limit, by, at):
    return Reading.objects.create(
        key=f"{at.timestamp():.0f}",
        probe=probe,
        site=probe.site,
        limit_version=limit.versions.get(),
        item="milk",
        typed="4",
        unit="C",
        value_milli=4000,
        taken_at=at,
        taken_by=by,
        recorded_by=by,
    )


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


def test_a_good_boiling_check_alone_vouches_for_nothing(probe, cook):
    good_boiling(probe, cook, day(0))
    good_boiling(probe, cook, day(7))
    assert standings(probe) == ["unproven"]
    probe.refresh_from_db()
    assert probe.state.last_good_check is None and probe.state.due_because == "never checked"


def test_a_failed_boiling_check_reaches_back_past_good_zero_checks_to_the_last_good_one_away_from_zero(probe, cook):
    good(probe, cook, day(0))
    good_boiling(probe, cook, day(1))
    for number in (7, 14):
        good(probe, cook, day(number))
    failed = bad_boiling(probe, cook, day(15))
    spans = probe.spans.order_by("ends_at")
    assert [(s.ends_at, s.standing) for s in spans][:2] == [(day(0), "unproven"), (day(1), "proven")]
    assert {s.standing for s in spans[2:]} == {"quarantined"} and {s.doubt_id for s in spans[2:]} == {failed.pk}
    assert {s.anchor for s in spans[2:]} == {f"check:{failed.pk}"}
    assert [s.cause for s in spans[2:]] == ["far_failed_ahead"] * 3 + ["used_after_far_failure"]


def test_good_zero_checks_do_not_vouch_until_a_good_boiling_check_cures(probe, cook):
    bad_boiling(probe, cook, day(0))
    good(probe, cook, day(1))
    assert set(standings(probe)) == {"quarantined"}
    probe.refresh_from_db()
    assert probe.state.standing == "quarantined" and probe.state.due_at == day(0) + 2 * TICK
    good_boiling(probe, cook, day(2))
    good(probe, cook, day(3))
    assert standings(probe) == ["quarantined", "quarantined", "quarantined", "proven", "pending"]
    probe.refresh_from_db()
    assert probe.state.standing == "pending" and probe.state.due_at == day(3 + STARTING.days)


def test_a_boiling_check_made_void_frees_what_it_condemned(probe, cook, supervisor):
    good(probe, cook, day(0))
    good(probe, cook, day(7))
    before = standings(probe)
    void_check(by=supervisor, reason="the water was salted", check=bad_boiling(probe, cook, day(8)))
    assert standings(probe) == before == ["unproven", "proven", "pending"]
    assert not probe.spans.exclude(doubt=None).exists()


def test_the_failed_boiling_check_bounds_the_error_on_its_own_side(probe, cook):
    """Zero alone would let hot readings pass as if the probe had never been found wrong at boiling."""
    good(probe, cook, day(0))
    good(probe, cook, day(7))
    failed = bad_boiling(probe, cook, day(8))
    good(probe, cook, day(14))
    good_boiling(probe, cook, day(15))
    before, after = probe.spans.get(ends_at=day(7)), probe.spans.get(ends_at=day(14))
    ahead, behind = bracket_of(before).end, bracket_of(after).start
    assert [point.error for point in ahead] == [point.error for point in behind] == [100, failed.error_milli]
    assert failed.error_milli > 2000
    assert all(point.error != failed.error_milli for point in bracket_of(before).start)


def test_altered_since_the_failed_boiling_check_nothing_bounds_the_error(probe, cook):
    bad_boiling(probe, cook, day(0))
    event(probe, cook, EventKind.ADJUSTED, day(1))
    good(probe, cook, day(1), stage="as_left")
    good(probe, cook, day(7))
    assert bracket_of(probe.spans.get(ends_at=day(7))).start == ()
