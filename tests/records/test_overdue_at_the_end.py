"""Whose check was overdue when a period ended: by what was so at its end, whatever came of it until it was printed."""

from datetime import date

import pytest

from compliance.checks.instruments import move_probe
from compliance.records.check_history import overdue
from compliance.records.scope import RecordScope
from compliance.reminders.actions import excuse_reminder
from compliance.reminders.models import Reminder
from tests.checks import making
from tests.records.making import at

pytestmark = pytest.mark.django_db
BY_THEN, AFTERWARDS = at(10, 8), at(11, 8)


def nothing(world, when):
    pass


def checked(world, when):
    making.good(world.probe, world.cook, when)


def found_unclear(world, when):
    making.unclear(world.probe, world.cook, when)


def excused(world, when):
    excuse_reminder(by=world.manager, reminder=Reminder.objects.get(due_at=at(9)), reason="In the laboratory.")


def moved(world, when):
    move_probe(by=world.supervisor, probe=world.probe, site=world.other_site, starts_at=when, reason="Lent.")


def gone(world, when):
    making.event(world.probe, world.cook, "gone", when, "Thrown away.")


@pytest.mark.parametrize("became", [nothing, checked, found_unclear, excused, moved, gone])
@pytest.mark.parametrize("when", [BY_THEN, AFTERWARDS])
def test_a_check_is_overdue_at_the_end_of_a_period_unless_that_was_over_by_then(world, clock, became, when):
    clock.move_to(at(2))
    making.good(world.probe, world.cook, at(2, 8))
    clock.move_to(when)
    became(world, when)
    waits = when == AFTERWARDS or became in (nothing, found_unclear)
    scope = {"site": world.site, "first": date(2026, 3, 1), "printed_by": "Rue Danby", "now": at(12)}
    assert overdue(RecordScope(last=date(2026, 3, 10), **scope)) == (["P1"] if waits else [])
    assert overdue(RecordScope(last=date(2026, 3, 8), **scope)) == []
