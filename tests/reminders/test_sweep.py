"""The sweep writes each due time that has come once, whenever and however often it runs."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from compliance.checks.actions import void_check
from compliance.checks.models import END, ProbeState
from compliance.checks.timeline import recut
from compliance.plans.schedule import TICK
from compliance.reminders import planning
from compliance.reminders.models import Reminder
from compliance.reminders.sweep import sweep
from tests.checks import making
from tests.plans.making import check_every
from tests.reminders.making import ready, statuses, swept, told
from tests.world import make_probe

NOW = datetime(2026, 3, 11, 12, tzinfo=UTC)  # a Wednesday
pytestmark = pytest.mark.usefixtures("clock")


def at(day: int, hour: int = 9, month: int = 3) -> datetime:
    return datetime(2026, month, day, hour, tzinfo=UTC)


@pytest.fixture
def checked(world):
    """Its last good check was yesterday, Tuesday, at noon; the next is due on Tuesday the 17th at nine."""
    making.good(world.probe, world.cook, NOW - timedelta(days=1))
    ready(world.probe)
    return world.probe


def test_what_is_not_due_yet_is_not_written(checked):
    assert swept() == 0 and not Reminder.objects.exists()


def test_what_has_fallen_due_is_written_once_with_its_window(checked):
    assert [swept(at(17)), swept(at(17)), swept(at(18))] == [1, 0, 0]
    row = Reminder.objects.get()
    assert (row.probe, row.site, row.since_at) == (checked, checked.site, at(17))
    assert row.opens_at == at(11, 0) - TICK, "a second check on the day of the last one is not the next"
    assert (row.due_at, row.grace_at, row.closes_at) == (at(17), at(17, 11), at(24))
    assert (row.because, row.away) == ("every 7 days", False)


def test_a_sweep_after_days_of_standing_still_writes_all_that_was_missed(checked, clock):
    clock.move_to(at(1, 12, month=4))
    assert swept() == 3
    summer = [at(17), at(24), at(31, 8)]  # nine on the wall after the change of clocks
    assert told() == list(zip(summer, ["missed", "missed", "overdue"], strict=True))
    assert set(Reminder.objects.values_list("since_at", flat=True)) == {at(17)}
    assert swept() == 0


def test_sweeping_every_hour_or_once_writes_the_same(checked):
    for hour in range(0, 24 * 20, 1):
        sweep(at(12) + timedelta(hours=hour))
    often = list(Reminder.objects.order_by("due_at").values())
    Reminder.objects.all().delete()
    sweep(at(12) + timedelta(hours=24 * 20 - 1))
    once = list(Reminder.objects.order_by("due_at").values())
    assert [row | {"id": 0} for row in once] == [row | {"id": 0} for row in often] and len(once) == 3


def test_weekdays_fall_due_one_after_the_other(checked, world):
    planning.change_plan(by=world.manager, probe=checked, pattern="weekdays", weekdays=0b10001, at=time(7))
    sweep(at(21))
    assert list(Reminder.objects.values_list("due_at", flat=True)) == [at(13, 7), at(16, 7), at(20, 7)]
    assert Reminder.objects.last().closes_at == at(23, 7)


def test_a_check_at_once_is_followed_by_that_of_the_plan(checked, world):
    making.event(checked, world.cook, "dropped", at(11, 10))
    swept(at(25))
    rows = list(Reminder.objects.values_list("due_at", "opens_at", "closes_at", "because"))
    assert rows[0] == (at(11, 10), at(11, 10) - TICK, at(17), "dropped and not checked since")
    assert [row[:3] for row in rows[1:]] == [(at(17), at(11, 0) - TICK, at(24)), (at(24), at(18, 0) - TICK, at(31, 8))]


def test_a_failed_boiling_check_asks_for_one_away_from_zero(checked, world):
    making.boiling(checked, world.cook, at(11, 9), value="92.0")
    swept()
    assert Reminder.objects.get().away and statuses() == ["overdue"]
    making.good(checked, world.cook, at(11, 11))
    assert statuses() == ["overdue"]
    making.boiling(checked, world.cook, at(11, 12))
    assert statuses() == ["cleared"]


def test_a_probe_never_checked_is_written_once_and_then_by_its_plan(world, clock):
    probe = make_probe(world.site, "P9", by=world.manager, starts_at=at(11, 8))
    ready(probe)
    swept()
    assert told() == [(at(11, 8), "overdue")]
    clock.move_to(at(26))
    swept()
    assert told() == [(at(11, 8), "missed"), (at(18), "missed"), (at(25), "overdue")]


def test_nothing_for_a_withdrawn_probe_or_a_closed_site(checked, world):
    other = make_probe(world.other_site, "P2", by=world.manager)
    ready(other)
    making.event(checked, world.manager, "withdrawn", NOW)
    world.other_site.closed = True
    world.other_site.save()
    planning.roll_over([world.other_site.pk])
    assert swept(at(30)) == 0


def test_a_closure_moves_the_due_time_and_the_reminder_says_why(checked, world):
    planning.add_closure(
        by=world.supervisor, site=world.site, first_day=date(2026, 3, 16), last_day=date(2026, 3, 19), why="half-term"
    )
    swept(at(19))
    assert not Reminder.objects.exists()
    swept(at(20))
    row = Reminder.objects.get()
    assert row.due_at == at(20) and row.closes_at == at(24) and "half-term" in row.because


def test_a_closure_set_while_it_is_open_moves_its_end(checked, world, clock):
    clock.move_to(at(17, 10))
    swept()
    closure = planning.add_closure(
        by=world.supervisor, site=world.site, first_day=date(2026, 3, 24), last_day=date(2026, 3, 26), why="works"
    )
    assert Reminder.objects.get().closes_at == at(27)
    planning.strike_closure(by=world.supervisor, closure=closure, reason="called off")
    assert Reminder.objects.get().closes_at == at(24)


def test_a_change_of_plan_while_overdue_shortens_the_wait_for_the_next(checked, world, clock):
    clock.move_to(at(17, 8) + timedelta(hours=2))
    swept()
    check_every(checked, 1, by=world.manager)
    assert Reminder.objects.get().closes_at == at(18)
    swept(at(20))
    assert [row.due_at.day for row in Reminder.objects.all()] == [17, 18, 19, 20]


def test_a_site_that_will_not_open_again_leaves_its_last_open(checked, world):
    swept(at(17))
    Reminder.objects.all().delete()
    world.site.slots.filter(due_at__gt=at(17)).delete()
    swept(at(18))
    assert Reminder.objects.get().closes_at == END


def test_a_check_that_is_voided_brings_the_reminders_of_before_back(checked, world, clock):
    clock.move_to(at(19))
    swept()
    check = making.good(checked, world.cook, at(18))
    clock.move_to(at(26))
    swept()
    assert told() == [(at(17), "cleared"), (at(25), "overdue")]
    void(check, world)
    swept()
    assert told() == [(at(17), "missed"), (at(24), "overdue"), (at(25), "cancelled")]


def void(check, world):
    void_check(by=world.manager, check=check, reason="Wrong probe in the bath.")


def test_a_check_in_one_window_leaves_the_next_to_its_own(checked, world, clock):
    clock.move_to(at(25))
    swept()
    making.good(checked, world.cook, at(18))
    assert told() == [(at(17), "cleared"), (at(24), "cleared"), (at(25), "due")]


# ------------------------------------------------------------------------------------------------------------ how much it asks


@pytest.mark.parametrize("probes", [3, 30])
def test_one_statement_whatever_is_due(world, probes):
    some = [make_probe(world.site, f"N{n}", by=world.manager, starts_at=NOW) for n in range(probes)]
    ready(*some)
    Reminder.objects.all().delete()
    with CaptureQueriesContext(connection) as queries:
        assert swept() == probes
    assert len([q for q in queries if "SAVEPOINT" not in q["sql"]]) == 1
    assert ProbeState.objects.count() == probes
    recut(some[0])
