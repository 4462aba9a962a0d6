"""The record shows what was planned against what was done: missed stays missed, excuses with their reason."""

from datetime import timedelta

import pytest

from compliance.reminders.actions import excuse_reminder
from compliance.reminders.models import Reminder
from tests.checks import making
from tests.records.making import at, record_of, section
from tests.reminders.making import ready, swept

pytestmark = pytest.mark.usefixtures("clock")


def test_done_missed_and_excused_are_told_apart(world, clock):
    clock.move_to(at(2, 12))
    making.good(world.probe, world.cook, at(2, 10))
    ready(world.probe)
    clock.move_to(at(24, 12))
    swept()
    making.good(world.probe, world.cook, at(24, 11))
    excuse_reminder(by=world.manager, reminder=Reminder.objects.get(due_at=at(16)), reason="In the laboratory.")
    told = section(record_of(world.site), "Planned and done")
    assert "Of 3 due times" in told and "1 done (1 of them late), 1 missed, 1 missed and excused afterwards" in told
    assert (
        "done late" in told
        and "MISSED, excused" in told
        and "Missed, and excused by MH" in told
        and "In the laboratory." in told
    )
    assert told.index("MISSED") < told.index("Missed, and excused")


def test_what_was_done_says_when_and_by_whom(world, clock):
    clock.move_to(at(2, 12))
    making.good(world.probe, world.cook, at(2, 10))
    ready(world.probe)
    clock.move_to(at(9, 12))
    swept()
    making.good(world.probe, world.cook, at(9, 12) - timedelta(minutes=10))
    told = section(record_of(world.site), "Planned and done")
    assert "11:50" in told and "CE" in told and "P1: every 7 days" in told


def test_a_site_without_plans_says_so(world):
    assert "Nothing fell due at this site" in section(record_of(world.site), "Planned and done")
