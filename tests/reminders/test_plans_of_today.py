"""A plan that is set in the course of a day asks for nothing that was over by then, whatever is due already."""

from datetime import UTC, datetime

import pytest

from tests.checks import making
from tests.plans.making import check_every
from tests.reminders.making import swept, told


def at(day: int, hour: int = 9) -> datetime:
    return datetime(2026, 3, day, hour, tzinfo=UTC)


@pytest.fixture
def overdue(world, clock):
    """Weekly, due on the 10th at nine and not checked; it is the 11th, three in the afternoon."""
    clock.move_to(at(3, 12))
    making.good(world.probe, world.cook, at(3, 12))
    clock.move_to(at(11, 15))
    assert told() == [(at(10), "overdue")]
    return world.probe


def test_what_is_overdue_is_not_missed_by_a_plan_set_in_the_afternoon(overdue, world):
    check_every(overdue, 1, by=world.manager)  # at nine, from today on
    swept()
    assert told() == [(at(10), "overdue")]


def test_it_is_when_the_first_time_of_that_plan_comes(overdue, world, clock):
    check_every(overdue, 1, by=world.manager)
    clock.move_to(at(12, 10))
    swept()
    assert told() == [(at(10), "missed"), (at(12), "due")]
