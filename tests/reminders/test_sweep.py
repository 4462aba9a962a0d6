"""The readings of rounds are written down once, whenever and however often that is done."""

from datetime import UTC, date, datetime, time

import pytest

from compliance.plans.actions import set_round
from compliance.plans.models import RoundSlot
from compliance.plans.round_slots import remake_rounds
from compliance.reminders import planning
from compliance.reminders.models import Reminder
from tests.reminders.making import swept

READINGS = Reminder.objects.filter(round__isnull=False)
pytestmark = pytest.mark.usefixtures("clock")


def at(day: int, hour: int = 9, month: int = 3) -> datetime:
    return datetime(2026, month, day, hour, tzinfo=UTC)


@pytest.fixture
def rounds(world):
    set_round(by=world.manager, limit=world.limit, times=[time(8), time(14)], grace_minutes=60)
    return world.limit.rounds.get()


def test_a_round_asks_from_the_moment_that_it_was_set(rounds):
    swept(at(11, 15))
    row = READINGS.all().get()
    assert (row.round, row.due_at, row.opens_at, row.grace_at, row.closes_at) == (
        rounds, at(11, 14), at(11, 13), at(11, 15), at(12, 7),
    )  # fmt: skip


def test_a_slot_that_was_taken_is_not_looked_at_again(rounds, world):
    swept(at(12, 15))
    assert READINGS.all().count() == 3 and not RoundSlot.objects.filter(due_at__lte=at(12, 15)).exists()
    remake_rounds([world.site.pk])
    assert not RoundSlot.objects.filter(due_at__lte=at(12, 15)).exists() and swept(at(12, 15)) == 0


def test_a_closed_day_has_no_round(rounds, world):
    planning.add_closure(
        by=world.supervisor, site=world.site, first_day=date(2026, 3, 12), last_day=date(2026, 3, 12), why="works"
    )
    swept(at(13, 8))
    assert [row.due_at for row in READINGS.all()] == [at(11, 14), at(13, 8)]


def test_the_end_of_a_round_moves_with_the_one_after_it(rounds, world, clock):
    clock.move_to(at(11, 14))
    swept()
    planning.add_closure(
        by=world.supervisor, site=world.site, first_day=date(2026, 3, 12), last_day=date(2026, 3, 12), why="works"
    )
    assert swept() == 0
    assert READINGS.all().get().closes_at == at(12, 14)
