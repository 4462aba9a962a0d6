"""When the next check is due, and why."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from compliance.metrology.vocabulary import MAKES_CHECK_DUE, EventKind
from compliance.plans.calendar import Calendar, Closed
from compliance.plans.demands import NEVER_OPEN, Checked, Happened, by_plan, is_withdrawn, moment, outstanding
from compliance.plans.schedule import ON_WEEKDAYS, TICK, Plan, Stretch

SINCE = datetime(2026, 1, 1, tzinfo=UTC)
GOOD, BAD, UNCLEAR = "in_tolerance", "out_of_tolerance", "inconclusive"


def on(number):
    return SINCE + timedelta(days=number)


def check(number, verdict=GOOD, stage="as_found", order=1):
    return Checked(on(number), verdict, stage, order)


def far(number, verdict=GOOD, stage="as_found", order=5, kind="boiling", reference=98_300):
    return Checked(on(number), verdict, stage, order, kind, reference)


def happened(kind, number, order=1):
    return Happened(on(number), kind, order)


CALENDAR = Calendar(ZoneInfo("UTC"))


def by(plan, checks=(), events=(), calendar=CALENDAR):
    """The earlier of what asks at once and the plan."""
    found = outstanding(checks, events, SINCE)
    last, stretches = found.last, [Stretch(date.min, plan)]
    planned = by_plan(moment(last), stretches, calendar, bool(last.conditional))[0] if last else None
    return min((due for due in (found.at_once, planned) if due and due.at), key=lambda due: due.at, default=NEVER_OPEN)


def due(checks=(), events=()):
    """By a plan of every seven days at midnight."""
    return by(Plan(at=time(0)), checks, events)


def test_a_probe_never_checked_is_due_since_it_came():
    assert due().at == SINCE and due().because == "never checked"


def test_the_interval_runs_from_the_last_conclusive_check():
    assert due([check(3), check(1)]).at == on(10)
    assert due([check(3)]).because == "every 7 days"


def test_an_inconclusive_check_makes_another_due_at_once():
    found = due([check(3), check(5, UNCLEAR, order=2)])
    assert found.at == on(5) and "inconclusive" in found.because


def test_a_conclusive_check_answers_an_inconclusive_one():
    assert due([check(5, UNCLEAR), check(6, order=2)]).at == on(13)


def test_what_was_due_before_stays_due_since_then():
    assert due([check(0), check(9, UNCLEAR, order=2)]).at == on(7)


def test_a_probe_out_of_tolerance_is_due_at_once():
    assert due([check(1), check(3, BAD, order=2)]).at == on(3) + TICK, "not at the minute that it answers itself"


def test_a_good_check_as_left_answers_a_failed_one_of_the_same_minute():
    assert due([check(3, BAD, order=2), check(3, GOOD, "as_left", order=1)]).at == on(10)


def test_of_two_checks_of_one_minute_and_stage_the_failed_one_speaks():
    assert due([check(3, BAD, order=1), check(3, GOOD, order=2)]).at == on(3) + TICK


@pytest.mark.parametrize("kind", MAKES_CHECK_DUE)
def test_an_event_makes_a_check_due_until_one_is_made(kind):
    assert due([check(1)], [happened(kind, 2)]).at == on(2)
    assert due([check(1), check(4)], [happened(kind, 2)]).at == on(11)
    assert due([check(1), check(4, UNCLEAR)], [happened(kind, 2)]).at == on(2)


def test_at_one_minute_an_adjustment_comes_after_the_check_as_found_and_a_drop_before_it():
    assert due([check(2)], [happened(EventKind.ADJUSTED, 2)]).at == on(2)
    assert due([check(2, stage="as_left")], [happened(EventKind.ADJUSTED, 2)]).at == on(9)
    assert due([check(2)], [happened(EventKind.DROPPED, 2)]).at == on(9)


@pytest.mark.parametrize(
    ("checks", "events", "waits"),
    [
        ([check(1)], [], True),
        ([check(1), check(2.5, UNCLEAR)], [], True),
        ([check(1)], [EventKind.DROPPED], True),
        ([check(1), check(2)], [], False),
        ([check(1), check(5)], [], False),
        ([check(1), check(5, BAD)], [], False),
        ([check(1, BAD)], [], False),
        ([], [], False),
        ([check(1)], [EventKind.ADJUSTED], False),
        ([check(1)], [EventKind.GONE], False),
        ([check(0.5), replace(check(1, BAD), kind="boiling", reference_milli=98_000)], [], False),
    ],
)
def test_put_aside_only_the_check_that_its_readings_wait_for_is_asked_for(checks, events, waits):
    events = [happened(EventKind.WITHDRAWN, 2), *(happened(kind, 3) for kind in events)]
    found = outstanding(checks, events, SINCE)
    assert is_withdrawn(events) and found.last is None
    assert (found.at_once is not None) == waits
    assert not waits or (found.at_once.at, found.at_once.because) == (on(2), "put aside and not checked since")


def test_the_later_of_withdrawal_and_return_counts_whatever_the_order_of_arrival():
    returned, withdrawn = happened(EventKind.RETURNED, 4, order=1), happened(EventKind.WITHDRAWN, 2, order=2)
    assert not is_withdrawn([returned, withdrawn]) and due([check(1)], [returned, withdrawn]).at == on(4)
    assert is_withdrawn([happened(EventKind.RETURNED, 4, order=1), happened(EventKind.WITHDRAWN, 4, order=2)])


@pytest.mark.parametrize(("every", "days"), [(30, 7), (8, 2), (7, 1), (4, 1), (2, 1)])
def test_a_check_that_passed_near_the_edge_makes_the_next_due_after_a_quarter_but_at_least_a_day(every, days):
    found = by(Plan(every_days=every, at=time(0)), [replace(check(3), conditional=True)])
    assert (found.at, found.because) == (on(3 + days), "near the edge at its last check")


def test_a_probe_checked_every_day_is_not_checked_sooner():
    found = by(Plan(every_days=1, at=time(0)), [replace(check(3), conditional=True)])
    assert (found.at, found.because) == (on(4), "every day")


def test_a_later_check_in_the_middle_of_the_tolerance_ends_the_short_interval():
    assert due([replace(check(3), conditional=True), check(4, order=2)]).at == on(11)


@pytest.mark.parametrize("verdict", [GOOD, UNCLEAR])
def test_a_boiling_check_that_did_not_fail_leaves_the_date_of_the_zero_check(verdict):
    assert due([check(1), far(3, verdict)]) == due([check(1)])
    assert due([far(3, verdict)]) == due([])


def test_a_failed_boiling_check_makes_a_check_due_at_once_until_a_good_one_away_from_zero():
    found = due([check(1), far(3, BAD)])
    assert found.at == on(3) + 2 * TICK and found.because == "out of tolerance at its last boiling check"
    assert due([check(1), far(3, BAD), check(4, order=6)]).at == on(3) + 2 * TICK, "a good zero check does not cure it"
    assert due([check(1), far(3, BAD), far(5, UNCLEAR, order=6)]).at == on(3) + 2 * TICK
    assert due([check(1), far(3, BAD), far(5, order=6)]).at == on(8)
    assert due([check(1), far(3, BAD), far(5, kind="certificate", reference=60_000)]).at == on(8)
    assert due([check(1), far(3, BAD), far(5, kind="certificate", reference=0)]).at == on(3) + 2 * TICK


def test_a_good_boiling_check_does_not_answer_a_failed_zero_check_or_a_drop():
    assert due([check(1, BAD), far(3)]).at == on(1) + TICK
    assert due([check(1), far(3)], [happened(EventKind.DROPPED, 2)]).at == on(2)


def test_a_failed_certificate_says_which_check_it_was():
    found = due([check(1), far(3, BAD, kind="certificate", reference=60_000)])
    assert "certificate away from zero" in found.because
    assert due([check(1), far(3, kind="certificate", reference=-5_000)]).at == on(10), "it speaks for zero"


def test_a_boiling_check_as_left_tells_of_an_adjustment_nobody_checked_at_zero():
    found = due([check(1), far(3, stage="as_left")])
    assert found.at == on(3) and "adjusted" in found.because
    assert due([check(1), far(3, stage="as_left"), check(3.1, stage="as_left")]).at == on(10)
    assert due([check(2.9, stage="as_left"), far(3, stage="as_left")]).at == on(9), "part of the same work"
    assert due([check(1.9, stage="as_left"), far(3, stage="as_left")]).at == on(3)


def test_the_plan_counts_local_days_and_names_the_time_on_the_wall():
    kathmandu = Calendar(ZoneInfo("Asia/Kathmandu"))
    found = by(Plan(), [check(3.9)], calendar=kathmandu)  # 21:36 UTC is 03:21 of the next day there
    assert found.at == datetime(2026, 1, 12, 3, 15, tzinfo=UTC)


def test_a_check_on_a_closed_day_moves_and_the_reason_says_so_also_near_the_edge():
    calendar = Calendar(ZoneInfo("UTC"), closures=(Closed(date(2026, 1, 8), date(2026, 1, 9), "stock taking"),))
    assert by(Plan(), [check(0)], calendar=calendar).because == "every 7 days; moved from Thu 8 Jan (stock taking)"
    near = by(Plan(), [replace(check(6), conditional=True)], calendar=calendar)
    assert near.because == "near the edge at its last check; moved from Thu 8 Jan (stock taking)"
    assert near.at == datetime(2026, 1, 10, 9, tzinfo=UTC)


def test_by_weekdays_the_check_of_a_day_answers_that_day_only():
    mondays = Plan(pattern=ON_WEEKDAYS, weekdays=1)
    assert by(mondays, [check(3.5)]).at == datetime(2026, 1, 5, 9, tzinfo=UTC)
    assert by(mondays, [check(4.2)]).at == datetime(2026, 1, 12, 9, tzinfo=UTC), "checked that Monday before nine"


def test_nothing_is_planned_where_the_site_never_opens_but_a_drop_still_asks_for_a_check():
    closed = Calendar(ZoneInfo("UTC"), closures=(Closed(date(2026, 1, 2), date(2029, 1, 1), "rebuilding"),))
    assert by(Plan(), [check(1)], calendar=closed).at is None
    assert by(Plan(), [check(1)], [happened(EventKind.DROPPED, 2)], closed).at == on(2)
