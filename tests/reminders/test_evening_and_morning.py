"""What was not measured before the day of work was over was not measured; the first reading of the next day is for that day."""

from datetime import UTC, date, datetime, time

import pytest

from compliance.plans.actions import set_round
from compliance.plans.calendar import DAY
from compliance.plans.data import ClosureData, RoundData
from compliance.reminders import planning
from compliance.reminders.models import Reminder
from tests.world import make_reading

from .making import swept, told

READINGS = Reminder.objects.filter(limit__isnull=False)
pytestmark = pytest.mark.usefixtures("clock")  # 11 March 2026, a Wednesday, noon UTC


def at(day: int, hour: int = 9, minute: int = 0) -> datetime:
    return datetime(2026, 3, day, hour, minute, tzinfo=UTC)


def taken(world, when: datetime):
    return make_reading(world.probe, world.limit, "3.0", when, by=world.cook)


@pytest.fixture
def twice_a_day(world):
    planning.change_opening(by=world.manager, site=world.site, hours=[(time(7), time(20))] * 7)
    return set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(8), time(19)]))


@pytest.mark.parametrize("sweeps", [[(11, 19, 5), (12, 7, 5)], [(12, 7, 5)], []])
def test_the_reading_at_opening_is_for_the_morning_and_not_for_the_evening_before(world, clock, twice_a_day, sweeps):
    for moment in sweeps:
        clock.move_to(at(*moment))
        swept()
    clock.move_to(at(12, 7, 5))
    taken(world, at(12, 7))
    clock.move_to(at(12, 12))
    swept()
    assert told(limit__isnull=False) == [(at(11, 19), "missed"), (at(12, 8), "cleared")]


def test_one_that_is_late_in_the_evening_is_for_the_evening(world, clock, twice_a_day):
    clock.move_to(at(11, 23))
    taken(world, at(11, 22))
    swept()
    assert told(limit__isnull=False) == [(at(11, 19), "cleared")]


def test_the_last_reading_before_a_day_off_is_over_with_its_day(world, clock, twice_a_day):
    planning.add_closure(
        by=world.manager,
        data=ClosureData(site=world.site, first_day=date(2026, 3, 12), last_day=date(2026, 3, 12), why="tried"),
    )
    clock.move_to(at(13, 0))
    swept()
    assert READINGS.get(due_at=at(11, 19)).closes_at == at(12, 0)


def test_that_of_a_night_may_be_taken_until_the_hours_end(world, clock):
    planning.change_opening(by=world.manager, site=world.site, hours=[(time(17), time(2))] * 7)
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(18), time(23)]))
    clock.move_to(at(12, 1, 30))
    swept()
    assert READINGS.get(due_at=at(11, 23)).closes_at == at(12, 2)


def test_the_row_that_is_open_keeps_its_end_when_the_due_times_are_made_again(world, clock, twice_a_day):
    clock.move_to(at(11, 21))
    swept()
    readings = READINGS.filter(limit__isnull=False).order_by("due_at")
    before = list(readings.values())
    planning.extend_horizon(datetime.now(UTC))
    assert list(readings.values())[: len(before)] == before and before[0]["closes_at"] == at(12, 0)


def test_hours_that_run_longer_tonight_leave_more_time_for_what_is_open(world, clock, twice_a_day):
    clock.move_to(at(11, 19, 10))
    swept()
    planning.change_opening(by=world.manager, site=world.site, hours=[(time(7), time(1))] * 7)
    assert READINGS.get(due_at=at(11, 19)).closes_at == at(12, 1)


def test_where_the_hours_are_not_known_a_reading_is_late_until_the_next_one_opens(world, clock):
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(8), time(19)]))
    windows = READINGS.values_list("opens_at", "closes_at")
    assert list(windows[:2]) == [(at(11, 18, 30), at(12, 7, 30)), (at(12, 7, 30), at(12, 18, 30))]
    last = READINGS.latest("due_at")
    assert last.closes_at - last.due_at <= DAY
