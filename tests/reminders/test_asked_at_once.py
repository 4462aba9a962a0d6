"""What asks for a check at once has a row of its own; an excuse covers what was asked for when it was given, and no more."""

from datetime import UTC, datetime, time, timedelta

import pytest

from compliance.checks.models import ProbeState
from compliance.overview.queries import probes_in_use
from compliance.overview.todo import to_do_today
from compliance.plans.data import PlanData
from compliance.reminders import planning
from compliance.reminders.actions import excuse_reminder
from compliance.reminders.models import Reminder
from compliance.reminders.queries import asked_checks
from tests.checks import making
from tests.plans.making import check_every
from tests.reminders.making import come, ready, statuses, swept, told

pytestmark = pytest.mark.usefixtures("clock")  # 11 March 2026, a Wednesday, noon UTC


def at(day: int, hour: int = 9, minute: int = 0) -> datetime:
    return datetime(2026, 3, day, hour, minute, tzinfo=UTC)


@pytest.fixture
def excused(world, clock):
    """Due by its plan since 8 March, and excused on the 11th."""
    making.good(world.probe, world.cook, at(1, 8))
    ready(world.probe)
    swept()
    excuse_reminder(by=world.manager, reminder=come().get(), reason="Not used this week.")
    assert on_list(world) == []
    clock.move_to(at(12, 10))
    return world.probe


def on_list(world) -> list:
    now = datetime.now(UTC)
    return [each.probe.code for each in to_do_today(world.site, probes_in_use(world.site), now)]


@pytest.mark.parametrize("kind", ["dropped", "adjusted", "doubted", "new_battery"])
def test_an_excuse_does_not_cover_what_happens_after_it(excused, world, kind):
    making.event(excused, world.cook, kind, at(12, 10))
    assert on_list(world) == ["P1"] and statuses() == ["excused", "overdue"]
    making.good(excused, world.cook, at(12, 10, 0), stage="as_left")
    assert statuses(due_at=at(12, 10)) == ["cleared"]


def test_nor_an_inconclusive_check_after_it(excused, world):
    making.unclear(excused, world.cook, at(12, 10))
    assert on_list(world) == ["P1"] and statuses() == ["excused", "overdue"]


def test_what_asks_again_after_a_second_excuse_is_asked_for_again(excused, world, clock):
    making.event(excused, world.cook, "dropped", at(12, 10))
    excuse_reminder(by=world.manager, reminder=Reminder.objects.get(due_at=at(12, 10)), reason="It fell on a cushion.")
    assert on_list(world) == []
    clock.move_to(at(13, 8))
    making.event(excused, world.cook, "doubted", at(13, 7))
    assert on_list(world) == ["P1"] and asked_checks([excused.pk], at(13, 8))[excused.pk] is not None
    assert statuses() == ["excused", "excused", "overdue"]


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


@pytest.mark.parametrize("opens", [time(6), time(10)])
def test_a_day_that_fell_due_stays_due_at_its_time_whatever_the_hours_become(world, clock, opens):
    clock.move_to(at(10, 7))
    planning.change_opening(by=world.manager, site=world.site, hours=[(time(8), time(20))] * 7)
    making.good(world.probe, world.cook, at(10, 7))
    planning.change_plan(by=world.manager, data=PlanData(probe=world.probe, every_days=1, before_service=True))
    clock.move_to(at(11, 8))
    swept()
    planning.change_opening(by=world.manager, site=world.site, hours=[(opens, time(20))] * 7)
    clock.move_to(at(12, 4))
    swept()
    assert [due for due, _ in told()] == [at(11, 7, 30)]
    assert ProbeState.objects.get().due_at == at(11, 7, 30)
