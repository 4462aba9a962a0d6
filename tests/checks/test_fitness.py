"""Whether a probe may be used: at any moment of any history as an oracle says that knows nothing of spans and due times."""

import uuid
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from compliance.checks.actions import void_check, void_event
from compliance.checks.fitness import Fitness, Judgement, Known, fitness_of, judge, may_be
from compliance.checks.models import Check, CheckDraft
from compliance.checks.timeline import lock, recut
from compliance.metrology.vocabulary import Stage
from compliance.probes.actions import move
from compliance.probes.models import Event, EventKind, Probe
from tests.undone import undone
from tests.world import make_probe

from .making import bad, boiling, certificate, day, event, good, unclear

LONDON = ZoneInfo("Europe/London")
OK, FIRST, NOT = Fitness.OK, Fitness.CHECK_FIRST, Fitness.DO_NOT_USE


def good_boiling(probe, by, at, **changes):
    return boiling(probe, by, at, "98.4", **changes)


def bad_boiling(probe, by, at, **changes):
    return boiling(probe, by, at, "101.9", **changes)


def lone_boiling(probe, by, at, **changes):
    """One number beyond the tolerance, which fails no probe by itself."""
    return boiling(probe, by, at, "101.9", readings=[(240_000, "101.9", "C")], **changes)


def bad_far_paper(probe, by, at, **changes):
    return certificate(probe, by, at, error_milli=2400, reference_milli=60_000, **changes)


MAKE = {
    "good": good,
    "bad": bad,
    "unclear": unclear,
    "good boiling": good_boiling,
    "bad boiling": bad_boiling,
    "lone boiling": lone_boiling,
    "bad paper at 60": bad_far_paper,
}
# Quarters of days over more than the seven that the plan of every business allows. Checks away from zero as found only: one
# as left tells of an adjustment besides, which has tests of its own.
TIMES = st.integers(0, 44).map(lambda quarter: quarter / 4)
AT_ZERO = st.tuples(st.sampled_from(["good", "good", "bad", "unclear"]), st.sampled_from(list(Stage)), TIMES)
FAR = ["good boiling", "bad boiling", "lone boiling", "bad paper at 60"]
AWAY = st.tuples(st.sampled_from(FAR), st.just(Stage.AS_FOUND), TIMES)
EVENTS = st.tuples(st.just("event"), st.sampled_from(list(EventKind)), TIMES)
HISTORIES = st.lists(st.tuples(AT_ZERO | AWAY | EVENTS, st.integers(0, 4).map(lambda n: n == 0)), max_size=6)


def live(probe, person, history):
    """In the order of the list, which is not that of time: some is entered late, and some struck out again."""
    for (what, which, at), struck in history:
        happened = what == "event"
        record = (
            event(probe, person, which, day(at), "dead")
            if happened
            else MAKE[what](probe, person, day(at), stage=which)
        )
        if struck and not hasattr(record, "void"):
            void, name = (void_event, "event") if happened else (void_check, "check")
            void(by=person, reason="struck out", **{name: record})


def last_of(checks):
    return max(
        checks,
        key=lambda c: (c.checked_at, c.stage == "as_left", c.verdict == "out_of_tolerance", c.pk),
        default=None,
    )


def oracle(probe, at) -> Fitness:
    """By hand: the last check of each end of the scale, what happened after it, and seven days."""
    checks = [c for c in Check.objects.filter(probe=probe, void=None) if c.checked_at <= at]
    events = [e for e in Event.objects.filter(probe=probe, void=None).order_by("at", "pk") if e.at <= at]
    told = [c for c in checks if c.verdict != "inconclusive"]
    zero = last_of(c for c in told if c.kind == "zero")
    away = last_of(c for c in told if c.kind != "zero")
    turns = [e.kind for e in events if e.kind in ("withdrawn", "gone", "returned")]
    since = [e for e in events if zero is None or unanswered(zero, e)]
    altered = any(e.kind in ("adjusted", "repaired", "gone") for e in since)
    failed = any(c is not None and c.verdict == "out_of_tolerance" for c in (zero, away))
    if failed or turns[-1:] in (["withdrawn"], ["gone"]) or altered:
        return NOT
    unclear_since = [c for c in checks if c.kind == "zero" and zero is not None and last_of([zero, c]) is c is not zero]
    lone = [c for c in checks if c.kind == "boiling" and c.verdict == "inconclusive"]
    unclear_since += [c for c in lone if away is None or last_of([away, c]) is c is not away]
    if zero is None or unclear_since or any(e.kind not in ("withdrawn", "gone") for e in since):
        return FIRST
    return FIRST if at >= late_from(zero) else OK


def was_settled(probe, at) -> bool:
    """Whether any check had told by then which way the zero point is."""
    told = Check.objects.filter(probe=probe, void=None, kind="zero", checked_at__lte=at)
    return told.exclude(verdict="inconclusive").exists()


def unanswered(check, happened) -> bool:
    """At one and the same time an adjustment comes after the check as found, anything else before it."""
    after = happened.kind in ("adjusted", "repaired", "gone") and check.stage == "as_found"
    return happened.at > check.checked_at or (happened.at == check.checked_at and after)


def late_from(check) -> datetime:
    """Seven local days later at 09:00, and two hours of grace: the plan that every business starts with."""
    due = check.checked_at.astimezone(LONDON).date() + timedelta(days=7)
    return datetime.combine(due, time(11), LONDON).astimezone(UTC)


@settings(max_examples=settings.default.max_examples // 2, suppress_health_check=list(HealthCheck))
@given(history=HISTORIES, moments=st.lists(TIMES.map(lambda at: at + 0.01), min_size=3, max_size=3))
def test_at_any_moment_of_any_history_it_is_what_the_oracle_says(probe, supervisor, history, moments):
    with undone():
        live(probe, supervisor, history)
        for at in [day(12), *(day(moment) for moment in moments)]:
            found = now_and_then(probe, at)
            assert found.state == oracle(probe, at), at
            assert found.vouched is (found.state != NOT and was_settled(probe, at)), at


def now_and_then(probe, at) -> Judgement:
    """None may be missing among those that the list of probes looks through for its fitness."""
    judged = fitness_of([probe.pk], at)[probe.pk]
    assert Probe.objects.filter(may_be(judged.state, at), pk=probe.pk).exists()
    return judged


def test_a_probe_that_was_never_checked_is_to_be_checked_first(probe):
    assert now_and_then(probe, day(0)) == Judgement(FIRST, "never checked")


def test_of_a_failed_check_it_says_where_and_when(probe, cook):
    good(probe, cook, day(0))
    failed = bad(probe, cook, day(1))
    found = now_and_then(probe, day(1.01))
    assert (found.state, found.at) == (NOT, failed.checked_at)
    assert found.why(LONDON, day(1.1)) == "failed at zero today 09:00"
    assert found.words(LONDON, day(3)) == "Do not use: failed at zero 6 Jan 09:00"
    assert found.words(LONDON, day(400)) == "Do not use: failed at zero 6 Jan 2026 09:00"


def test_a_good_check_at_boiling_never_cures_a_failed_one_at_zero_nor_the_other_way_round(probe, cook):
    bad(probe, cook, day(0))
    good_boiling(probe, cook, day(1))
    assert now_and_then(probe, day(2)).because == "failed at zero"
    good(probe, cook, day(2))
    assert now_and_then(probe, day(2.1)).state == OK
    bad_boiling(probe, cook, day(3))
    good(probe, cook, day(4))
    assert now_and_then(probe, day(5)).because == "failed at boiling"
    assert now_and_then(probe, day(2.5)).state == OK
    good_boiling(probe, cook, day(5))
    assert now_and_then(probe, day(5.1)).state == OK


@pytest.mark.parametrize(
    ("kind", "state", "because"),
    [
        ("adjusted", NOT, "adjusted, repaired or gone, and not checked since"),
        ("repaired", NOT, "adjusted, repaired or gone, and not checked since"),
        ("withdrawn", NOT, "withdrawn from use"),
        ("dropped", FIRST, "dropped and not checked since"),
        ("doubted", FIRST, "somebody doubted it"),
        ("new_battery", FIRST, "new battery and not checked since"),
        ("returned", FIRST, "returned to use and not checked since"),
    ],
)
def test_what_happened_since_the_last_good_check_counts_until_the_next(probe, cook, kind, state, because):
    good(probe, cook, day(0))
    event(probe, cook, kind, day(1))
    for _ in ("from what is kept", "from its history"):
        assert now_and_then(probe, day(0.5)).state == OK
        assert now_and_then(probe, day(1.5)) == Judgement(state, because)
        event(probe, cook, "returned", day(2)) if kind == "withdrawn" else good(probe, cook, day(2))
    assert now_and_then(probe, day(2.5)).state == (FIRST if kind == "withdrawn" else OK)


def test_a_check_is_overdue_when_its_grace_is_over_also_looked_back_at_from_later(probe, cook):
    """Every business starts with a check in seven days at 09:00 and two hours of grace."""
    good(probe, cook, day(0))
    due = day(7)
    for _ in ("from what is kept", "from its history"):
        assert now_and_then(probe, due + timedelta(minutes=119)).state == OK
        assert now_and_then(probe, due + timedelta(hours=2)) == Judgement(FIRST, "check overdue since", due)
        good(probe, cook, day(9))
    assert now_and_then(probe, day(9.1)).state == OK


def test_looked_back_at_a_check_was_overdue_though_the_probe_has_moved_since(probe, cook, other_site):
    good(probe, cook, day(0))
    assert now_and_then(probe, day(8)).state == FIRST
    move(by=cook, probe=probe, site=other_site, starts_at=day(9), reason="Lent.")
    recut(lock(probe))
    assert now_and_then(probe, day(8)).state == FIRST


def begun(probe, person, outside_since=None, **fields):
    return CheckDraft.objects.create(
        key=uuid.uuid4(), probe=probe, person=person, started_at=day(1), outside_since=outside_since, **fields
    )


def test_an_unfinished_check_of_anybody_that_shows_a_number_beyond_the_tolerance_forbids_the_use(probe, cook, manager):
    good(probe, cook, day(0))
    begun(probe, cook)
    assert now_and_then(probe, day(2)).state == OK
    begun(probe, manager, outside_since=day(1.5))
    assert now_and_then(probe, day(1.4)).state == OK
    assert now_and_then(probe, day(1.5)) == Judgement(
        NOT, "an unfinished check shows a number beyond the tolerance, since", day(1.5)
    )
    CheckDraft.objects.all().delete()
    assert now_and_then(probe, day(2)).state == OK


def test_a_probe_of_which_nothing_is_kept_yet_may_not_be_used_while_its_first_check_shows_too_much(site, cook):
    probe = make_probe(site, "P9", by=cook)
    begun(probe, cook, outside_since=day(1))
    assert now_and_then(probe, day(2)).state == NOT


def test_a_failed_check_that_is_struck_out_forbids_nothing_any_more(probe, cook, supervisor):
    good(probe, cook, day(0))
    failed = bad(probe, cook, day(1))
    void_check(by=supervisor, check=failed, reason="the ice had melted")
    assert now_and_then(probe, day(2)).state == OK


def test_what_forbids_the_use_goes_before_what_asks_for_a_check():
    late = {"outside_since": day(2), "overdue_since": day(0)}
    everything = Known(failed="failed at zero", failed_at=day(1), altered=True, asked="dropped", vouched=True, **late)
    assert judge(everything) == Judgement(NOT, "failed at zero", day(1))
    assert judge(replace(everything, withdrawn=True)).because == "withdrawn from use"
    assert judge(Known(vouched=True)) == Judgement(OK)
    assert judge(Known()) == Judgement(FIRST, "no good check yet")


def put_through(site, cook, code):
    """One that failed, one dropped, one in order, and one of which more is known than is asked about."""
    probes = [make_probe(site, f"{code}{number}", by=cook) for number in range(4)]
    for probe in probes:
        good(probe, cook, day(0))
    bad(probes[0], cook, day(1))
    event(probes[1], cook, "dropped", day(1))
    good(probes[3], cook, day(3))
    return [probe.pk for probe in probes]


def queries_for(probe_ids):
    with CaptureQueriesContext(connection) as captured:
        found = fitness_of(probe_ids, day(2))
    assert [found[pk].state for pk in probe_ids][:4] == [NOT, FIRST, OK, OK]
    return len(captured)


def test_the_number_of_queries_does_not_grow_with_the_probes(site, cook):
    few = put_through(site, cook, "A")
    many = [*few, *put_through(site, cook, "B"), *put_through(site, cook, "C")]
    assert queries_for(few) == queries_for(many) <= 12
    with CaptureQueriesContext(connection) as captured:
        fitness_of([few[2]], day(2))
    assert len(captured) == 1
