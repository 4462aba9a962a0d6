"""What asks for a check at once has a row of its own; an excuse covers what was asked for when it was given, and no more."""

from datetime import UTC, datetime, time, timedelta

import pytest

from compliance.checks.models import ProbeState
from compliance.overview.queries import probes_in_use
from compliance.overview.todo import to_do_today
from compliance.reminders import planning
from compliance.reminders.actions import excuse_reminder
from compliance.reminders.models import Reminder
from compliance.reminders.queries import excused_checks, excused_then
from sites.models import Site
from tests.checks import making
from tests.plans.making import check_every
from tests.reminders.making import ready, statuses, swept, told

pytestmark = pytest.mark.usefixtures("clock")  # 11 March 2026, a Wednesday, noon UTC


def at(day: int, hour: int = 9, minute: int = 0) -> datetime:
    return datetime(2026, 3, day, hour, minute, tzinfo=UTC)


@pytest.fixture
def excused(world, clock):
    """Due by its plan since 8 March, and excused on the 11th."""
    making.good(world.probe, world.cook, at(1, 8))
    ready(world.probe)
    swept()
    excuse_reminder(by=world.manager, reminder=Reminder.objects.get(), reason="Not used this week.")
    assert on_list(world) == []
    clock.move_to(at(12, 10))
    return world.probe


def on_list(world) -> list:
    now = datetime.now(UTC)
    return [each.probe.code for each in to_do_today(world.site, probes_in_use(world.site), now)]


@pytest.mark.parametrize("kind", ["dropped", "adjusted", "doubted", "new_battery"])
def test_an_excuse_does_not_cover_what_happens_after_it(excused, world, kind):
    making.event(excused, world.cook, kind, at(12, 10))
    assert on_list(world) == ["P1"] and statuses() == ["excused", "due"]
    making.good(excused, world.cook, at(12, 10, 0), stage="as_left")
    assert statuses(due_at=at(12, 10)) == ["cleared"]


def test_nor_an_inconclusive_check_after_it(excused, world):
    making.unclear(excused, world.cook, at(12, 10))
    assert on_list(world) == ["P1"] and statuses() == ["excused", "due"]


def test_what_asks_again_after_a_second_excuse_is_asked_for_again(excused, world, clock):
    making.event(excused, world.cook, "dropped", at(12, 10))
    excuse_reminder(by=world.manager, reminder=Reminder.objects.get(due_at=at(12, 10)), reason="It fell on a cushion.")
    assert on_list(world) == [] and excused_then([excused.pk], at(12, 10)) == {excused.pk}
    clock.move_to(at(13, 8))
    making.event(excused, world.cook, "doubted", at(13, 7))
    assert on_list(world) == ["P1"] and excused_checks([excused.pk], at(13, 8)) == set()
    assert statuses() == ["excused", "excused", "due"]


def test_one_check_clears_all_that_asked_for_it(world, clock):
    making.good(world.probe, world.cook, at(4, 8))
    ready(world.probe)
    making.event(world.probe, world.cook, "dropped", at(11, 11))
    assert [due for due, _ in told()] == [at(11), at(11, 11)]
    making.good(world.probe, world.cook, at(11, 12))
    assert statuses() == ["cleared", "cleared"]


@pytest.mark.parametrize("first", ["plan", "dropped"])
def test_a_check_that_fails_at_the_very_minute_asks_again(world, clock, first):
    making.good(world.probe, world.cook, at(10, 8))
    ready(world.probe)
    when = at(17) if first == "plan" else at(12, 10)
    clock.move_to(when)
    if first == "dropped":
        making.event(world.probe, world.cook, "dropped", when)
    swept()
    making.bad(world.probe, world.cook, when)
    clock.move_to(when + timedelta(minutes=1))
    swept()
    assert statuses() == ["cleared", "due"]
    making.good(world.probe, world.cook, when, stage="as_left")
    assert "due" not in statuses()


@pytest.fixture
def daily(world, clock):
    clock.move_to(at(10, 8))
    making.good(world.probe, world.cook, at(10, 8))
    check_every(world.probe, 1, by=world.manager)
    return world.probe


def test_a_check_at_boiling_stays_asked_for_while_the_plan_asks_for_those_at_zero(daily, world, clock):
    clock.move_to(at(10, 12))
    making.boiling(daily, world.cook, at(10, 12), "95.0")
    for day in (11, 12):
        clock.move_to(at(day, 9, 30))
        swept()
        making.good(daily, world.cook, at(day, 9, 30))
    assert statuses() == ["overdue", "cleared", "cleared"]
    assert list(Reminder.objects.order_by("due_at").values_list("away", flat=True)) == [True, False, False]
    making.boiling(daily, world.cook, at(12, 9, 30))
    assert statuses() == ["cleared", "cleared", "cleared"]


def test_what_fails_at_boiling_while_the_plan_is_overdue_has_its_own_row(daily, world, clock):
    clock.move_to(at(11, 12))
    swept()
    making.boiling(daily, world.cook, at(11, 11, 59), "95.0")
    assert statuses() == ["overdue", "due"]
    making.good(daily, world.cook, at(11, 12))
    assert statuses() == ["cleared", "due"] and ProbeState.objects.get().asks_away


def test_nothing_closes_before_its_grace_is_over(daily, world, clock):
    clock.move_to(at(11, 8, 55))
    making.event(daily, world.cook, "dropped", at(11, 8, 55))
    clock.move_to(at(11, 9, 5))
    assert swept() == 1 and statuses() == ["due", "due"]
    clock.move_to(at(11, 10, 56))
    assert swept() == 0 and statuses() == ["missed", "due"]


def test_nor_where_the_grace_is_longer_than_the_interval(daily, world, clock):
    planning.change_plan(by=world.manager, probe=daily, every_days=1, grace_minutes=3000)
    for day in (11, 12, 13):
        clock.move_to(at(day, 9, 1))
        assert swept() == 1
    assert statuses() == ["due", "due", "due"]
    assert [row.closes_at for row in Reminder.objects.order_by("due_at")][0] == at(13, 11)


@pytest.mark.parametrize("opens", [time(6), time(10)])
def test_a_day_that_fell_due_stays_due_at_its_time_whatever_the_hours_become(world, clock, opens):
    clock.move_to(at(10, 7))
    planning.change_opening(by=world.manager, site=world.site, hours=[(time(8), time(20))] * 7)
    making.good(world.probe, world.cook, at(10, 7))
    planning.change_plan(by=world.manager, probe=world.probe, every_days=1, before_service=True)
    clock.move_to(at(11, 8))
    swept()
    planning.change_opening(by=world.manager, site=world.site, hours=[(opens, time(20))] * 7)
    clock.move_to(at(12, 4))
    swept()
    assert [due for due, _ in told()] == [at(11, 7, 30)]
    assert ProbeState.objects.get().due_at == at(11, 7, 30)


def test_a_check_in_the_evening_is_for_an_opening_just_after_midnight(world, clock):
    clock.move_to(at(9, 12))
    planning.change_opening(by=world.manager, site=world.site, hours=[(time(0), time(0))] * 7)
    making.good(world.probe, world.cook, at(9, 12))
    planning.change_plan(by=world.manager, probe=world.probe, every_days=1, before_service=True)
    clock.move_to(at(10, 23, 40))
    swept()
    assert told()[-1] == (at(10, 23, 30), "due")
    making.good(world.probe, world.cook, at(10, 23, 20))
    assert told()[-1] == (at(10, 23, 30), "cleared")
    assert ProbeState.objects.get().due_at == at(11, 23, 30)


def test_a_site_that_opens_again_asks_from_then_on(daily, world, clock):
    planning.change_site(by=world.supervisor, site=world.site, changes={"closed": True})
    clock.move_to(at(20, 12))
    planning.roll_over()
    planning.change_site(by=world.supervisor, site=Site.objects.get(pk=world.site.pk), changes={"closed": False})
    swept()
    assert told() == [(at(20, 12), "due")]
    assert Reminder.objects.get().because == "every day; due since the site opened again"
