"""A record says who accepted which interval, and when."""

import pytest

from compliance.advice import actions
from compliance.records.sections import intervals, nothing
from tests.plans.making import days_of
from tests.records.making import at, scope_of, section, section_of, sections_of


@pytest.fixture
def accepted(world, clock):
    def accept(day, **given):
        clock.move_to(at(day))
        given = {"days_advised": 3, "days_accepted": 3, **given}
        why = given.pop("why", "")
        advised = actions.Advised(days_before=days_of(world.probe), target=95, figures={}, **given)
        return actions.accept(by=world.manager, probe=world.probe, advised=advised, why=why)

    return accept


def test_what_was_accepted_stands_with_who_and_when(world, accepted, clock):
    accepted(9)
    accepted(12, days_accepted=5, why="Cold kitchen on weekends")
    clock.move_to(at(2, month=4))
    lines = section_of(world.site, "Intervals between checks")
    assert "9 Mar 2026 09:00 P1 Every 3 days every 7 days every 3 days 95 of 100 MH" in lines
    assert "Accepted by Mara Holt (MH)." in lines
    assert "12 Mar 2026 09:00 P1 Every 5 days every 3 days every 3 days" in lines
    assert "Accepted by Mara Holt (MH) against the advice: Cold kitchen on weekends." in lines


def test_what_was_accepted_outside_the_period_does_not(world, accepted, clock):
    accepted(9)
    clock.move_to(at(2, month=5))
    april = at(1, month=4).date(), at(30, month=4).date()
    told = sections_of(scope_of(world.site, *april), intervals, nothing)
    assert "No interval was set after advice in the period." in section(told, "What no entry was made of")
