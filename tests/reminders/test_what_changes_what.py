"""What follows from plans, closures, hours, settings, checks, events and moves for what is asked for: each rule by its name."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from compliance.checks.actions import void_check, void_event
from compliance.checks.instruments import move_probe, register_probe
from compliance.checks.models import ProbeState
from compliance.notices import late_sources
from compliance.notices.enqueue import enqueue_due_notices
from compliance.plans.data import ClosureData, PlanData
from compliance.reminders import planning
from compliance.reminders.actions import excuse_reminder, void_excuse
from compliance.reminders.models import Reminder
from compliance.reminders.status import cancelled_too_late
from sites.models import Site
from tests.checks import making
from tests.plans.making import check_every
from tests.remembered import remembered
from tests.reminders.making import come, statuses, told

pytestmark = pytest.mark.usefixtures("clock")
TICK = timedelta(microseconds=1)


def at(day: int, hour: int = 9, minute: int = 0) -> datetime:
    return datetime(2026, 3, day, hour, minute, tzinfo=UTC)


@pytest.fixture
def daily(world, clock):
    """In the book, and checked, on Tuesday the 10th at eight; every day at nine from then on."""
    clock.move_to(at(10, 8))
    return remembered(checked_daily, world)


def checked_daily(world):
    probe = register_probe(by=world.manager, site=world.site, code="N1", starts_at=at(10, 7))
    making.good(probe, world.cook, at(10, 8))
    check_every(probe, 1, by=world.manager)
    return probe


def row(probe, due: datetime) -> Reminder:
    return Reminder.objects.get(probe=probe, due_at=due)


def ahead(probe) -> list[datetime]:
    return list(
        Reminder.objects.filter(probe=probe, due_at__gt=datetime.now(UTC))
        .order_by("due_at")
        .values_list("due_at", flat=True)
    )


def close_days(world, first: int, last: int, why: str):
    return planning.add_closure(
        by=world.manager,
        data=ClosureData(site=world.site, first_day=date(2026, 3, first), last_day=date(2026, 3, last), why=why),
    )


# ---- what lies ahead


def test_rows_lie_forty_days_ahead_and_one_more(daily):
    assert len(ahead(daily)) == 41


def test_the_next_is_there_however_far(daily, world):
    check_every(daily, 300, by=world.manager)
    assert ahead(daily) == [datetime(2027, 1, 4, 9, tzinfo=UTC)]


def test_where_none_is_ahead_the_reason_is_said(daily, world):
    making.event(daily, world.manager, "withdrawn", at(10, 8), "cable frayed")
    state = ProbeState.objects.get(probe=daily)
    assert ahead(daily) == [] and (state.due_at, state.due_because) == (None, "withdrawn from use: cable frayed")


def test_what_is_ahead_is_not_excused(daily, world):
    with pytest.raises(ValidationError, match="not due yet"):
        excuse_reminder(by=world.manager, reminder=row(daily, at(11)), reason="On holiday.")


# ---- what is set changes what is ahead, and nothing that is due


def test_a_plan_leaves_what_is_due_with_its_time_and_grace_and_only_its_end_follows(daily, world, clock):
    clock.move_to(at(11, 10))
    check_every(daily, 3, by=world.manager, at=time(15), grace_minutes=30)
    open_row = row(daily, at(11))
    assert told(probe=daily)[-1] == (at(11), "due")
    assert (open_row.grace_at, open_row.closes_at) == (at(11, 11), at(14, 15) - TICK)
    assert ahead(daily)[:2] == [at(14, 15), at(17, 15)]


def test_a_day_that_has_its_row_gets_no_second_one(daily, world, clock):
    clock.move_to(at(11, 10))
    check_every(daily, 1, by=world.manager, at=time(15))
    assert ahead(daily)[:2] == [at(12, 15), at(13, 15)]


def test_a_day_whose_new_time_is_past_keeps_its_row(daily, world, clock):
    clock.move_to(at(11, 8))
    check_every(daily, 1, by=world.manager, at=time(7))
    assert ahead(daily)[:2] == [at(11), at(12, 7)]


def test_a_closure_lifts_nothing_that_is_due_and_moves_what_is_ahead(daily, world, clock):
    clock.move_to(at(11, 10))
    closure = close_days(world, 11, 13, "burst pipe")
    assert told(probe=daily)[-1] == (at(11), "due") and ahead(daily)[0] == at(14)
    assert "burst pipe" in row(daily, at(14)).because and row(daily, at(11)).closes_at == at(14) - TICK
    planning.strike_closure(by=world.manager, closure=closure, reason="It was mended.")
    assert ahead(daily)[0] == at(12)


def test_hours_and_another_clock_leave_what_is_due_and_move_what_is_ahead(daily, world, clock):
    clock.move_to(at(11, 10))
    before = Reminder.objects.filter(probe=daily, due_at__lte=at(11)).values_list("due_at", "grace_at", "cancelled_at")
    kept = list(before)
    planning.change_opening(by=world.manager, site=world.site, hours=[(time(8), time(20))] * 3 + [None] * 4)
    assert ahead(daily)[:3] == [at(16), at(17), at(18)]
    site = Site.objects.get(pk=world.site.pk)
    planning.change_site(by=world.supervisor, site=site, changes={"time_zone": "Asia/Kathmandu"})
    assert ahead(daily)[0] == at(16, 3, 15) and list(before) == kept


def test_a_site_that_closes_for_good_ends_what_is_open_and_asks_again_when_it_opens(daily, world, clock):
    clock.move_to(at(11, 10))
    planning.change_site(by=world.supervisor, site=Site.objects.get(pk=world.site.pk), changes={"closed": True})
    assert told(probe=daily)[-1] == (at(11), "cancelled") and ahead(daily) == []
    clock.move_to(at(20, 12))
    planning.change_site(by=world.supervisor, site=Site.objects.get(pk=world.site.pk), changes={"closed": False})
    assert row(daily, at(20, 12)).because == "every day; due since the site opened again"
    assert ProbeState.objects.get(probe=daily).due_at == at(20, 12)


# ---- a fact about the probe counts from its own time on


def test_a_check_entered_late_cancels_what_it_shows_not_to_be_owed_and_says_who_entered_it(world, clock):
    clock.move_to(at(1, 8))
    probe = register_probe(by=world.manager, site=world.site, code="N1", starts_at=at(1, 7))
    making.good(probe, world.cook, at(1, 8))
    clock.move_to(at(16, 12))
    assert told(probe=probe)[-2:] == [(at(8), "missed"), (at(15), "overdue")]
    making.good(probe, world.cook, at(5, 8))
    assert told(probe=probe)[-3:] == [(at(8), "cleared"), (at(12), "overdue"), (at(15), "cancelled")]
    owed = row(probe, at(15))
    assert cancelled_too_late(owed) and owed.cancelled_because == "checked on 5 Mar 2026, entered by Col Esker"
    assert ahead(probe)[0] == at(19)


def test_a_check_struck_out_brings_back_what_was_cancelled(world, clock):
    clock.move_to(at(1, 8))
    probe = register_probe(by=world.manager, site=world.site, code="N1", starts_at=at(1, 7))
    making.good(probe, world.cook, at(1, 8))
    clock.move_to(at(16, 12))
    before = told(probe=probe)
    check = making.good(probe, world.cook, at(5, 8))
    void_check(by=world.manager, check=check, reason="Another probe.")
    assert [each for each in told(probe=probe) if each != (at(12), "cancelled")] == before


def test_what_is_inserted_for_a_time_before_its_recording_was_not_asked_in_time(daily, world, clock):
    clock.move_to(at(10, 9))
    gone = making.event(daily, world.manager, "withdrawn", at(10, 8, 30), "display broken")
    clock.move_to(at(13, 8))
    void_event(by=world.manager, event=gone, reason="It was P2 that was withdrawn.")
    assert statuses(probe=daily)[-2:] == ["not_asked", "overdue"], "of the 11th, and of the 12th, which is open still"
    clock.move_to(at(13, 10))
    assert statuses(probe=daily)[-3:] == ["not_asked", "not_asked", "due"]


def test_a_withdrawal_ends_what_was_open_whenever_it_is_entered(daily, world, clock):
    clock.move_to(at(13, 12))
    making.event(daily, world.manager, "withdrawn", at(12, 15), "display broken")
    assert told(probe=daily)[-4:] == [
        (at(11), "missed"),
        (at(12), "cancelled"),
        (at(12, 15), "overdue"),
        (at(13), "cancelled"),
    ]
    assert row(daily, at(12)).cancelled_because == "withdrawn from use: display broken"
    assert row(daily, at(13)).cancelled_because == "withdrawn from use on 12 Mar 2026, entered by Mara Holt"
    state = ProbeState.objects.get(probe=daily)
    assert (state.due_at, state.due_because) == (at(12, 15), "put aside and not checked since")


def test_what_returns_is_due_from_its_return_on(daily, world, clock):
    clock.move_to(at(13, 12))
    making.event(daily, world.manager, "withdrawn", at(13, 12))
    clock.move_to(at(18, 12))
    making.event(daily, world.manager, "returned", at(18, 10))
    assert told(probe=daily)[-4:] == [
        (at(12), "missed"),
        (at(13), "cancelled"),
        (at(13, 12), "cancelled"),
        (at(18, 10), "overdue"),
    ]
    assert ProbeState.objects.get(probe=daily).due_at == at(18, 10)


def test_moved_while_overdue_it_is_asked_for_where_it_came(daily, world, clock):
    clock.move_to(at(11, 12))
    planning.change_plan(
        by=world.supervisor, data=PlanData(site=world.other_site, every_days=90, reason="Hardly used.")
    )
    move_probe(by=world.supervisor, probe=daily, site=world.other_site, starts_at=at(11, 11, 30), reason="Lent")
    assert told(site=world.site, probe=daily)[-1] == (at(11), "cancelled")
    assert row(daily, at(11)).cancelled_because == "moved to Birch House: Lent"
    assert told(site=world.other_site) == [(at(11, 11, 30), "due")]
    assert row(daily, at(11, 11, 30)).because == "every day; due since it came here"


def test_what_a_failed_check_asks_for_stays_until_a_conclusive_one(daily, world, clock):
    clock.move_to(at(10, 12))
    making.bad(daily, world.cook, at(10, 12))
    clock.move_to(at(20, 12))
    making.unclear(daily, world.cook, at(20, 11))
    assert told(probe=daily)[-1] == (at(10, 12) + TICK, "overdue") and ahead(daily) == []
    making.good(daily, world.cook, at(20, 12))
    assert told(probe=daily)[-1] == (at(10, 12) + TICK, "cleared") and ahead(daily)[0] == at(21)


def test_boiling_and_zero_wait_side_by_side(daily, world, clock):
    clock.move_to(at(11, 9, 30))
    making.boiling(daily, world.cook, at(11, 9, 30), "95.0")
    making.good(daily, world.cook, at(11, 9, 30))
    clock.move_to(at(11, 9, 31))
    assert [(each.point, each.status) for each in come(probe=daily)][-2:] == [("zero", "cleared"), ("boiling", "due")]
    assert ProbeState.objects.get(probe=daily).away
    making.boiling(daily, world.cook, at(11, 9, 31))
    assert statuses(probe=daily)[-2:] == ["cleared", "cleared"]


def test_a_check_before_its_hour_is_done_at_once_and_asked_for_no_more(daily, world, clock):
    clock.move_to(at(11, 8))
    check = making.good(daily, world.cook, at(11, 8))
    assert told(probe=daily)[-1] == (at(11), "cleared") and ProbeState.objects.get(probe=daily).due_at == at(12)
    void_check(by=world.supervisor, check=check, reason="It was P2 that was checked.")
    assert ProbeState.objects.get(probe=daily).due_at == at(11)


def test_one_of_another_day_of_work_leaves_nothing_that_was_done(world, clock, daily):
    check_every(daily, 7, by=world.manager)
    clock.move_to(at(14, 8))
    making.good(daily, world.cook, at(14, 8))
    assert ahead(daily)[0] == at(21) and not Reminder.objects.filter(probe=daily, due_at=at(17)).exists()


# ---- telling, by a clock only


def told_late(probe, now: datetime) -> list[datetime]:
    return [
        each.at
        for each in late_sources.overdue(now).notified
        if each.number in probe.reminders.values_list("pk", flat=True)
    ]


def test_what_was_asked_for_late_is_late_when_its_grace_is_over_from_then_on(daily, world, clock):
    clock.move_to(at(10, 15))
    making.event(daily, world.cook, "dropped", at(10, 10))
    assert at(10, 10) not in told_late(daily, at(10, 16, 59))
    assert at(10, 10) in told_late(daily, at(10, 17))


def test_what_is_undone_is_told_though_its_grace_ended_long_before(daily, world, clock):
    clock.move_to(at(11, 10))
    check = making.good(daily, world.cook, at(11, 10))
    clock.move_to(at(11, 20))
    assert at(11) not in told_late(daily, at(11, 20))
    void_check(by=world.manager, check=check, reason="Another probe.")
    assert row(daily, at(11)).late_at == at(11, 20, 5)
    assert at(11) in told_late(daily, at(11, 20, 5))


def test_only_what_became_late_since_the_last_look_is_looked_at(daily, world, clock):
    clock.move_to(at(12, 12))
    enqueue_due_notices(at(12, 12))
    assert [row.due_at for row in late_sources.became_late(at(11, 12), at(12, 12))] == [at(12)]
    with CaptureQueriesContext(connection) as asked:
        enqueue_due_notices(at(12, 12, 1))
    looked = [q["sql"] for q in asked if '"late_at" >' in q["sql"]]
    assert len(looked) == 2, "for checks, and for readings"
    assert all("12:00:00" in each and "12:01:00" in each for each in looked), "from the last look to this one"
    if connection.vendor == "sqlite":
        assert "reminder_late" in late_sources.became_late(at(12, 12), at(12, 12, 1)).explain()


def test_so_is_what_an_excuse_no_longer_covers(daily, world, clock):
    clock.move_to(at(11, 10))
    excuse = excuse_reminder(by=world.manager, reminder=row(daily, at(11)), reason="In the laboratory.")
    clock.move_to(at(11, 20))
    assert at(11) not in told_late(daily, at(11, 20))
    void_excuse(by=world.manager, excuse=excuse, reason="It was here all day.")
    assert at(11) in told_late(daily, at(11, 20, 5))
