"""The fold of what a probe is to be checked for: pure, and the same whatever the order in which its facts were entered."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from compliance.metrology.vocabulary import ALTERATIONS, OUT_OF_USE, CheckKind, EventKind, Verdict
from compliance.plans.calendar import DAY, LONG_PAST, Calendar, Closed, Former, Hours, Week
from compliance.plans.demands import Checked, Happened, moment
from compliance.plans.obligations import ProbeFacts, SiteFacts, Stay, folded
from compliance.plans.round_obligations import LimitFacts, RoundSet, VersionSet, asked_of_itself, round_obligations
from compliance.plans.schedule import Candidate, Plan, RoundPlan

LONDON, PARIS = ZoneInfo("Europe/London"), ZoneInfo("Europe/Paris")
BEGIN = datetime(2026, 3, 20, 12, tzinfo=UTC)  # a Friday; the clocks change on the 29th
END = BEGIN + 14 * DAY
HOUR = timedelta(hours=1)
GOOD, BAD, UNCLEAR = Verdict.IN_TOLERANCE, Verdict.OUT_OF_TOLERANCE, Verdict.INCONCLUSIVE
TURNS, LONG_AGO = (*OUT_OF_USE, EventKind.RETURNED), datetime(2000, 1, 1, tzinfo=UTC)
DAILY = Plan(key=1, every_days=1, at=time(9))


def on(day: int, hour: int = 9, minute: int = 0, month: int = 3) -> datetime:
    return datetime(2026, month, day, hour, minute, tzinfo=UTC)


def check(at: datetime, verdict=GOOD, kind=CheckKind.ZERO, **given) -> Checked:
    reference = 98_000 if kind == CheckKind.BOILING else 0
    return Checked(at, verdict, given.pop("stage", "as_found"), 0, kind, reference, **given)


def site(key: int = 1, **given) -> SiteFacts:
    closings = given.pop("closings", ())
    return SiteFacts(key, Calendar(**{"zone": LONDON, **given}), closings, f"Site {key}")


def set_for(plan: Plan, told: datetime = BEGIN, order: int = 1) -> Candidate:
    return Candidate(0, told.date(), order, True, plan, told)


def stay(at: SiteFacts | None = None, *plans: Candidate, start: datetime = BEGIN) -> Stay:
    return Stay(at or site(), start, plans or (set_for(DAILY),))


def check_obligations(facts: ProbeFacts, until: datetime) -> list:
    return list(folded(facts, until).rows)


def nothing_ahead(facts: ProbeFacts) -> str:
    return folded(facts, LONG_PAST).nothing


def fold(checks=(), events=(), *stays: Stay, until: datetime = END) -> list:
    return check_obligations(ProbeFacts(tuple(checks), tuple(events), stays or (stay(),)), until)


def told(rows, until: datetime) -> list[tuple[datetime, str]]:
    return [(row.due_at, row.because) for row in rows if row.due_at <= until]


FIRST = check(on(20, 12))

# ------------------------------------------------------------------------------------------------- rules, each by its name


def test_without_a_check_each_day_has_its_row_one_window_after_the_other():
    rows = fold([FIRST], until=on(22))
    assert [row.due_at for row in rows] == [on(21), on(22), on(23)], "the next one too"
    assert [(row.opens_at, row.closes_at) for row in rows[:2]] == [
        (on(21, 0) - timedelta(microseconds=1), on(22) - timedelta(microseconds=1)),
        (on(22) - timedelta(microseconds=1), on(23) - timedelta(microseconds=1)),
    ]
    assert rows[0].grace_at == on(21, 11)


def test_a_plan_set_later_leaves_what_had_fallen_due_and_a_day_gets_no_second_row():
    later = set_for(Plan(key=2, every_days=1, at=time(15)), on(22, 10), 2)
    rows = fold([FIRST], [], stay(None, set_for(DAILY), later), until=on(23, 20))
    assert [row.due_at for row in rows] == [on(21), on(22), on(23, 15), on(24, 15)]


def test_a_day_whose_new_time_is_past_keeps_its_row():
    later = set_for(Plan(key=2, every_days=1, at=time(7)), on(22, 8), 2)
    rows = fold([FIRST], [], stay(None, set_for(DAILY), later), until=on(23, 20))
    assert [row.due_at for row in rows] == [on(21), on(22), on(23, 7), on(24, 7)]


def test_a_closure_lifts_nothing_that_is_due_and_moves_what_is_to_come():
    closed = Closed(date(2026, 3, 21), date(2026, 3, 23), "works", told=on(21, 10))
    rows = fold([FIRST], [], stay(site(closures=(closed,))), until=on(24, 20))
    assert told(rows, on(25)) == [
        (on(21), "every day"),
        (on(24), "every day; moved from Sun 22 Mar (works)"),
        (on(25), "every day"),
    ]
    assert rows[0].closes_at == on(24) - timedelta(microseconds=1) and rows[0].cancelled_at is None


def test_what_a_failed_check_asks_for_stays_until_a_conclusive_one():
    rows = fold([FIRST, check(on(21, 10), BAD), check(on(24, 12))], until=on(25))
    assert [row.due_at for row in rows] == [on(21), on(21, 10) + timedelta(microseconds=1), on(25), on(26)]
    assert rows[1].because == "out of tolerance at its last check" and rows[1].closes_at >= on(24, 12)
    drop = Happened(on(22), EventKind.DROPPED, 0)
    assert [row.due_at for row in fold([FIRST, check(on(21, 10), BAD)], [drop])] == [row.due_at for row in rows[:2]]
    assert (
        nothing_ahead(ProbeFacts((FIRST, check(on(21, 10), BAD)), (), (stay(),)))
        == "first comes what its failed check asks for"
    )


def test_nobody_gains_time_by_dropping_a_probe():
    rows = fold([FIRST], [Happened(on(21, 9, 30), EventKind.DROPPED, 0)], until=on(21, 12))
    first, dropped = rows[:2]
    assert (first.cancelled_at, first.cancelled_because) == (
        on(21, 9, 30),
        "asked for anew before its grace was over: dropped and not checked since",
    )
    assert first.closes_at == dropped.opens_at and dropped.grace_at == first.grace_at == on(21, 11)


def test_a_check_before_its_hour_has_its_row():
    rows = fold([FIRST, check(on(21, 8))], until=on(22))
    assert [row.due_at for row in rows] == [on(21), on(22), on(23)]
    assert rows[0].opens_at < on(21, 8) <= rows[0].closes_at


def test_gone_it_is_asked_for_nothing_and_says_why():
    gone = Happened(on(21, 10), EventKind.GONE, 0, "cable frayed")
    rows = fold([FIRST], [gone])
    assert (rows[-1].due_at, rows[-1].cancelled_at, rows[-1].cancelled_because) == (
        on(21),
        on(21, 10),
        "withdrawn from use: cable frayed",
    )
    assert nothing_ahead(ProbeFacts((FIRST,), (gone,), (stay(),))) == "withdrawn from use: cable frayed"
    back = Happened(on(23, 10), EventKind.RETURNED, 1)
    assert told(fold([FIRST], [gone, back]), on(23, 12))[-1] == (on(23, 10), "returned to use and not checked since")


ASIDE = Happened(on(21, 10), EventKind.WITHDRAWN, 0, "spare")


def test_put_aside_one_check_stays_asked_for_with_what_was_left_of_the_grace():
    before, aside = fold([FIRST], [ASIDE])
    assert (before.due_at, before.cancelled_at) == (on(21), on(21, 10))
    assert (aside.due_at, aside.because) == (on(21, 10), "put aside and not checked since")
    assert aside.grace_at == max(before.grace_at, aside.due_at) and aside.closes_at > on(30)


def test_it_stays_so_until_it_is_checked_or_gone():
    unclear, dropped = check(on(22), UNCLEAR), Happened(on(23), EventKind.DROPPED, 1)
    assert fold([FIRST, unclear], [ASIDE, dropped])[-1].done_at is None
    assert len(fold([FIRST, unclear], [ASIDE, dropped])) == 2
    for verdict in (GOOD, BAD):
        assert fold([FIRST, check(on(24), verdict)], [ASIDE])[-1].done_at == on(24)
    gone = fold([FIRST], [ASIDE, Happened(on(24), EventKind.GONE, 1)])[-1]
    assert (gone.because, gone.cancelled_at) == ("put aside and not checked since", on(24))


def test_moved_while_put_aside_it_is_asked_for_where_it_came():
    rows = fold([FIRST], [ASIDE], stay(), Stay(site(2), on(22), (set_for(DAILY),), "Lent"))
    assert (rows[-1].site_id, rows[-1].due_at, rows[-1].cancelled_at) == (2, on(22), None)


def test_moved_while_overdue_it_is_asked_for_where_it_came():
    rows = fold([FIRST], [], stay(), Stay(site(2), on(21, 12), (set_for(Plan(every_days=90)),), "Lent"), until=on(22))
    left, came = rows[:2]
    assert (left.site_id, left.cancelled_at, left.cancelled_because) == (1, on(21, 12), "moved to Site 2: Lent")
    assert (came.site_id, came.due_at, came.because) == (2, on(21, 12), "every day; due since it came here")


def test_a_site_that_is_closed_for_good_asks_for_nothing_until_it_opens_again():
    facts = site(closed=True, closings=((on(21, 10), True),))
    assert nothing_ahead(ProbeFacts((FIRST,), (), (stay(facts),))) == "the site is closed for good"
    again = site(closings=((on(21, 10), True), (on(24, 10), False)))
    assert told(fold([FIRST], [], stay(again)), on(24, 12)) == [
        (on(21), "every day"),
        (on(24, 10), "every day; due since the site opened again"),
    ]


def test_boiling_is_asked_for_beside_zero():
    rows = fold([FIRST, check(on(20, 13), BAD, CheckKind.BOILING)], until=on(22))
    boiling = [row for row in rows if row.point == CheckKind.BOILING]
    assert [row.because for row in boiling] == ["out of tolerance at its last boiling check"]
    assert [row.due_at for row in rows if row.point == CheckKind.ZERO] == [on(21), on(22), on(23)]


def test_a_site_without_an_open_day_says_so():
    closed = Closed(date(2026, 3, 20), date(2028, 3, 20), "rebuilding")
    assert (
        nothing_ahead(ProbeFacts((FIRST,), (), (stay(site(closures=(closed,))),)))
        == "closed for more than a year to come"
    )


def test_the_next_row_is_there_however_far():
    rows = fold([FIRST], [], stay(None, set_for(Plan(key=2, every_days=300))), until=BEGIN)
    assert [row.due_at for row in rows][-1] == datetime(2027, 1, 14, 9, tzinfo=UTC)


# --------------------------------------------------------------------------------------- properties, over random histories

hours = st.integers(0, 13 * 24).map(lambda hour: BEGIN + timedelta(hours=hour))
minutes = st.integers(0, 13 * 24 * 60).map(lambda minute: BEGIN + timedelta(minutes=minute))
checks = st.lists(
    st.builds(
        check,
        minutes,
        st.sampled_from([GOOD, GOOD, BAD, UNCLEAR]),
        st.sampled_from([CheckKind.ZERO, CheckKind.ZERO, CheckKind.BOILING]),
        stage=st.sampled_from(["as_found", "as_left"]),
    ),
    max_size=8,
    unique_by=lambda each: each.at,
)
events = st.lists(
    st.builds(Happened, minutes, st.sampled_from(list(EventKind)), st.just(0)),
    max_size=6,
    unique_by=lambda each: each.at,
)
set_plans = st.builds(
    Plan,
    key=st.integers(1, 9),
    pattern=st.sampled_from(["every_days", "weekdays"]),
    every_days=st.integers(1, 6),
    weekdays=st.integers(1, 127),
    at=st.sampled_from([time(0), time(1, 30), time(9), time(23, 59)]),
    grace_minutes=st.sampled_from([0, 120, 3000]),
    minutes_before=st.sampled_from([None, None, 30]),
)
candidates = st.lists(st.builds(set_for, set_plans, hours, st.integers(1, 99)), min_size=1, max_size=3)
open_hours = st.sampled_from([Hours(time(8), time(20)), Hours(time(15), time(2)), Hours(time(0), time(0))])
weeks = st.lists(
    st.builds(lambda told, one: Week(told.date(), (one,) * 5 + (None, one), told), hours, open_hours), max_size=2
)
closures = st.lists(
    st.builds(
        lambda told, ahead, struck: Closed(
            told.date() + DAY * ahead, told.date() + DAY * (ahead + 1), "works", told, struck
        ),
        hours,
        st.integers(0, 3),
        st.none(),
    ),
    max_size=2,
)
formers = st.lists(st.builds(lambda until: Former(until, PARIS), hours), max_size=1)
sites = st.builds(
    lambda weeks, closures, formers: site(weeks=tuple(weeks), closures=tuple(closures), formers=tuple(formers)),
    weeks,
    closures,
    formers,
)


@st.composite
def histories(draw) -> ProbeFacts:
    stays = [stay(draw(sites), *draw(candidates))]
    if at := draw(st.none() | hours):
        stays.append(Stay(site(2), max(at, BEGIN + DAY), tuple(draw(candidates)), "Lent"))
    return ProbeFacts(tuple(draw(checks)), tuple(draw(events)), tuple(stays))


def in_order(rows: list) -> list:
    return sorted(rows, key=lambda row: (row.opens_at, row.closes_at))


EXAMPLES = settings(max_examples=80)


@given(histories(), st.randoms(), st.integers(0, 60), st.integers(0, 13))
@settings(max_examples=160)
def test_every_law_of_the_fold_holds_for_any_history(facts, random, days, day):
    """To think of a history takes longer than to fold it, so each is held against all of them."""
    rows = check_obligations(facts, END)
    while_it_is_withdrawn_at_most_the_one_check_waits_that_it_was_put_aside_for(facts, rows)
    the_order_of_entering_has_no_say(facts, rows, random)
    windows_of_a_point_neither_overlap_nor_leave_a_gap(rows)
    a_day_of_a_plan_has_one_row_and_a_moment_too(rows)
    a_longer_horizon_only_appends(facts, rows, days)
    what_has_fallen_due_does_not_hang_on_what_is_set_afterwards(facts, day)
    from_the_first_row_on_something_waits_until_it_is_done_or_asked_for_no_longer(facts, rows)


def while_it_is_withdrawn_at_most_the_one_check_waits_that_it_was_put_aside_for(facts, rows):
    """And it waits exactly where, told by plain words, what was read before could still be proved."""
    live = [row for row in rows if not (row.done_at or row.cancelled_at or row.closes_at <= END)]
    turns = sorted((e for e in facts.events if e.kind in TURNS), key=lambda e: e.at)
    if not turns or turns[-1].kind == EventKind.RETURNED:
        return
    out = [e for e in turns if e.at > max((t.at for t in turns if t.kind == EventKind.RETURNED), default=LONG_AGO)][0]
    told = sorted((c for c in facts.checks if c.verdict != UNCLEAR), key=moment)
    near, far = ([c for c in told if c.at_zero == at_zero][-1:] for at_zero in (True, False))
    lost = any(e.kind in ALTERATIONS and e.at > near[0].at for e in facts.events) if near else True
    waits = not lost and near[0].at < out.at and all(c.verdict == GOOD for c in (*near, *far))
    assert [row.because.partition(";")[0] for row in live] == ["put aside and not checked since"] * waits


def the_order_of_entering_has_no_say(facts, rows, random):
    shuffled = [list(each) for each in (facts.checks, facts.events)]
    for each in shuffled:
        random.shuffle(each)
    assert check_obligations(ProbeFacts(*(tuple(each) for each in shuffled), facts.stays), END) == rows


def windows_of_a_point_neither_overlap_nor_leave_a_gap(rows):
    """A gap is only where the probe was withdrawn, or the site closed: where nothing was asked for.

    By their windows, for one that was done before its hour may be due after what the failed check that did it asks for.
    """
    rows = in_order(rows)
    for point in (CheckKind.ZERO, CheckKind.BOILING):
        for row, following in pairwise([row for row in rows if row.point == point]):
            assert row.opens_at <= row.closes_at <= following.opens_at
            if not row.cancelled_because.startswith("withdrawn"):
                assert row.closes_at == following.opens_at or row.point == CheckKind.BOILING and row.cancelled_at


def a_day_of_a_plan_has_one_row_and_a_moment_too(rows):
    days = [row.day for row in rows if row.day]
    assert len(days) == len(set(days))
    assert len({(row.point, row.due_at) for row in rows}) == len(rows)


def a_longer_horizon_only_appends(facts, rows, days):
    further = check_obligations(facts, END + days * DAY)
    shorter, longer = ([row for row in found if row.point == CheckKind.ZERO] for found in (rows, further))
    assert longer[: len(shorter)] == shorter


def what_has_fallen_due_does_not_hang_on_what_is_set_afterwards(facts, day):
    """Plans, closures, hours and clocks that are set later change no row that is due by then."""
    at = BEGIN + day * DAY
    known = [
        Stay(
            SiteFacts(each.site.key, each.site.calendar.known_at(at), (), each.site.name),
            each.start,
            tuple(plan for plan in each.plans if plan.told <= at),
            each.reason,
        )
        for each in facts.stays
    ]
    happened = [check for check in facts.checks if check.at < at], [event for event in facts.events if event.at <= at]
    then = check_obligations(ProbeFacts(*(tuple(each) for each in happened), tuple(known)), at)
    now = check_obligations(ProbeFacts(*(tuple(each) for each in happened), facts.stays), END)
    by_then = [(row.point, row.due_at, row.because, row.grace_at) for row in then if row.due_at <= at]
    assert [(row.point, row.due_at, row.because, row.grace_at) for row in now if row.due_at <= at] == by_then


def from_the_first_row_on_something_waits_until_it_is_done_or_asked_for_no_longer(facts, rows):
    for row, following in pairwise(in_order([row for row in rows if row.point == CheckKind.ZERO])):
        done = any(
            row.opens_at < moment(each) and each.at <= row.closes_at and each.verdict != UNCLEAR
            for each in facts.checks
        )
        left_open = not done and not row.cancelled_at
        assert not left_open or following.due_at - row.closes_at <= timedelta(microseconds=2)


# ------------------------------------------------------------------------------------------------------------- of readings


HOLDS = VersionSet(BEGIN - DAY, BEGIN - DAY, True)


def reading_facts(*rounds: RoundSet, versions=(HOLDS,), **given) -> LimitFacts:
    return LimitFacts(site(**given), rounds, versions)


def round_set(told: datetime, *times: time, key: int = 1, **given) -> RoundSet:
    return RoundSet(told.date(), told, True, RoundPlan(key=key, times=times, **given))


def test_readings_are_asked_for_from_the_moment_at_which_it_was_set():
    rows = round_obligations(reading_facts(round_set(on(20, 12), time(8), time(14), grace_minutes=60)), on(21, 10))
    assert [row.due_at for row in rows] == [on(20, 14), on(21, 8), on(21, 14)]
    assert (rows[0].opens_at, rows[0].grace_at, rows[0].closes_at) == (on(20, 13), on(20, 15), on(21, 7))


def test_a_limit_that_is_retired_asks_for_nothing_from_then_on_and_lifts_nothing():
    versions = (HOLDS, VersionSet(on(20), on(21, 9), False))
    rows = round_obligations(reading_facts(round_set(on(20, 12), time(8), time(14)), versions=versions), on(25))
    assert [row.due_at for row in rows] == [on(20, 14), on(21, 8)]


def test_the_next_reading_is_there_however_far():
    closed = Closed(date(2026, 3, 20), date(2026, 6, 1), "holidays")
    rows = round_obligations(reading_facts(round_set(on(20, 12), time(8)), closures=(closed,)), on(22))
    assert [row.due_at for row in rows] == [on(2, 7, month=6)]


@pytest.mark.parametrize("told", [[], [(on(20, 12), True)], [(on(20, 12), True), (on(22, 12), False)]])
def test_rounds_ask_for_a_limit_itself_while_none_of_its_appliances_is_measured(told):
    facts = reading_facts(round_set(on(20, 6), time(8)))
    of_limit = {row.due_at for row in round_obligations(replace(facts, asked=asked_of_itself([told])), on(25))}
    of_appliance = {row.due_at for row in round_obligations(replace(facts, asked=tuple(told)), on(25))}
    assert not of_limit & of_appliance
    assert of_limit | of_appliance == {row.due_at for row in round_obligations(facts, on(25))}


def test_of_two_appliances_the_limit_waits_until_both_are_retired():
    one, other = [(on(20), True), (on(22), False)], [(on(21), True), (on(24), False)]
    assert [asks for _, asks in asked_of_itself([one, other])] == [True, False, False, False, True]


@pytest.mark.parametrize("end", [None, on(23, 9), on(23, 8), on(28)])
def test_what_falls_due_while_an_appliance_is_out_of_use_is_not_owed_and_moves_no_other(end):
    facts = reading_facts(round_set(on(20, 12), time(8), time(14)))
    whole = round_obligations(facts, on(26))
    away = replace(facts, out_of_use=((on(21, 14), end),))
    rows = round_obligations(away, on(26))
    assert [row for row in rows if row.due_at <= on(26)] == [
        row for row in whole if row.due_at <= on(26) and away.owes(row.due_at)
    ]
    assert bool([row for row in rows if row.due_at > on(26)]) == (end is not None), "the next one, however far"


round_sets = st.lists(
    st.builds(
        lambda told, at, key: round_set(told, *at, key=key, grace_minutes=45),
        hours,
        st.lists(st.sampled_from([time(0), time(1, 30), time(8), time(23)]), min_size=1, max_size=3, unique=True),
        st.integers(1, 99),
    ),
    min_size=1,
    max_size=3,
).map(lambda found: sorted(found, key=lambda each: (each.since, each.told)))


absences = st.lists(
    st.tuples(st.integers(0, 14 * 24), st.integers(1, 200) | st.none()).map(
        lambda each: (BEGIN + each[0] * HOUR, each[1] and BEGIN + sum(each) * HOUR)
    ),
    max_size=3,
).map(tuple)
presences = st.lists(st.tuples(hours, st.booleans()), max_size=4).map(lambda found: ((LONG_PAST, True), *sorted(found)))


@given(round_sets, sites, presences, absences, st.integers(0, 30))
@EXAMPLES
def test_windows_of_readings_do_not_overlap_and_a_longer_horizon_only_appends(rounds, at, asked, away, days):
    facts = LimitFacts(at, tuple(rounds), (HOLDS,), asked, away)
    rows = round_obligations(facts, END)
    for row, following in pairwise(rows):
        assert row.due_at < following.due_at and row.closes_at <= following.opens_at
    assert round_obligations(facts, END + days * DAY)[: len(rows)] == rows


versions = st.lists(st.builds(VersionSet, hours, hours, st.booleans()), max_size=3).map(
    lambda found: (HOLDS, *sorted(found, key=lambda each: each.since))
)


@given(round_sets, sites, versions, presences, absences, st.integers(0, 14 * 24))
@EXAMPLES
def test_folded_from_a_moment_on_the_rows_are_the_same(rounds, at, versions, asked, away, later):
    facts = LimitFacts(at, tuple(rounds), versions, asked, away)
    since = BEGIN + later * HOUR
    whole = round_obligations(facts, END)
    assert round_obligations(facts, END, since) == [row for row in whole if row.due_at >= since]
