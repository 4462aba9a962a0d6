"""A check made before its hour on its own day of work: what was planned was done, and the record says so."""

from datetime import UTC, datetime, time

import pytest

from compliance.checks.actions import void_check
from compliance.checks.models import ProbeState
from compliance.reminders import planning
from compliance.reminders.models import Reminder
from tests.checks import making
from tests.plans.making import check_every
from tests.records.making import record_of, section
from tests.reminders.making import statuses, swept, told


def at(day: int, hour: int = 9, minute: int = 0) -> datetime:
    return datetime(2026, 3, day, hour, minute, tzinfo=UTC)


@pytest.fixture
def daily(world, clock):
    """Checked on Tuesday the 10th at eight, every day at nine from then on."""
    clock.move_to(at(10, 8))
    making.good(world.probe, world.cook, at(10, 8))
    check_every(world.probe, 1, by=world.manager)
    return world.probe


def test_it_has_its_row_at_once_and_no_second_one_when_its_hour_comes(daily, world, clock):
    clock.move_to(at(11, 8))
    making.good(daily, world.cook, at(11, 8))
    assert told() == [(at(11), "cleared")] and ProbeState.objects.get().due_at == at(12)
    clock.move_to(at(11, 12))
    assert swept() == 0 and statuses() == ["cleared"]
    assert "1 done" in section(record_of(world.site), "Planned and done")


def test_one_of_another_day_of_work_leaves_nothing_that_was_done(world, clock):
    clock.move_to(at(10, 8))
    making.good(world.probe, world.cook, at(10, 8))
    check_every(world.probe, 7, by=world.manager)
    clock.move_to(at(14, 8))
    making.good(world.probe, world.cook, at(14, 8))
    assert told() == [] and ProbeState.objects.get().due_at == at(21)


def test_after_midnight_it_is_still_of_the_evening_before(world, clock):
    planning.change_opening(by=world.manager, site=world.site, hours=[(time(17), time(3))] * 7)
    check_every(world.probe, 1, by=world.manager, at=time(18))
    clock.move_to(at(11, 17))
    making.good(world.probe, world.cook, at(11, 17))
    clock.move_to(at(12, 2))
    making.good(world.probe, world.cook, at(12, 2))
    assert told() == [], "the one of the 12th is still to come"


def test_struck_out_before_its_hour_the_check_is_still_to_come_and_then_due(daily, world, clock):
    clock.move_to(at(11, 8))
    check = making.good(daily, world.cook, at(11, 8))
    void_check(by=world.supervisor, check=check, reason="It was P2 that was checked.")
    assert not Reminder.objects.exists() and ProbeState.objects.get().due_at == at(11)
    clock.move_to(at(11, 9, 30))
    swept()
    assert told() == [(at(11), "due")]


def test_struck_out_after_its_hour_it_was_not_done(daily, world, clock):
    clock.move_to(at(11, 8))
    check = making.good(daily, world.cook, at(11, 8))
    clock.move_to(at(11, 12))
    void_check(by=world.supervisor, check=check, reason="It was P2 that was checked.")
    assert told() == [(at(11), "overdue")]


def test_an_inconclusive_check_before_the_hour_leaves_the_day_to_be_done(daily, world, clock):
    clock.move_to(at(11, 8))
    making.unclear(daily, world.cook, at(11, 8))
    assert (at(11), "cleared") not in told()
