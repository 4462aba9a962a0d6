"""A record says when the site was closed and why, and which plans were set."""

from datetime import date, time

import pytest

from compliance.checks.instruments import move_probe
from compliance.plans.data import ClosureData, PlanData
from compliance.probes.models import Probe
from compliance.records.check_history import late
from compliance.records.sections import days
from compliance.records.sections import nothing as no_entry
from compliance.reminders import planning
from tests.checks import making
from tests.plans.making import check_every
from tests.records.making import at, scope_of, section, section_of, sections_of

SUNDAY = date(2026, 3, 15)
HEADING = "Days of work and plans of checks"


def told_of(world) -> str:
    return section_of(world.site, HEADING)


def test_closures_stand_with_who_and_why_and_struck_out_ones_stay(world, clock):
    clock.move_to(at(2))
    days = {"first_day": date(2026, 3, 16), "last_day": date(2026, 3, 20)}
    struck = planning.add_closure(by=world.manager, data=ClosureData(site=world.site, why="half-term", **days))
    planning.strike_closure(by=world.manager, closure=struck, reason="A week later")
    planning.add_closure(by=world.supervisor, data=ClosureData(area=world.area, why="boiler repair", **days))
    clock.move_to(at(2, month=4))
    told = told_of(world)
    assert "16 Mar 2026 to 20 Mar 2026" in told and "boiler repair" in told and "SV" in told
    assert "half-term" in told and "Struck out by MH, 2 Mar 2026 09:00: A week later." in told


def test_public_holidays_on_which_it_is_closed(world, clock):
    """As it was set when the day began: what is set later changes nothing of the days before."""
    assert "Patrick" not in told_of(world)
    clock.move_to(at(5))
    planning.change_site(by=world.supervisor, site=world.site, changes={"country": "IE", "closed_on_holidays": True})
    clock.move_to(at(2, month=4))
    told = told_of(world)
    assert "17 Mar 2026" in told and "Patrick" in told
    planning.change_site(by=world.supervisor, site=world.site, changes={"closed_on_holidays": False})
    told = told_of(world)
    assert "17 Mar 2026" in told and "Patrick" in told


def test_a_holiday_set_when_it_was_over_is_not_told(world, clock):
    clock.move_to(at(2, month=4))
    planning.change_site(by=world.supervisor, site=world.site, changes={"country": "IE", "closed_on_holidays": True})
    assert "Patrick" not in told_of(world)


def test_the_hours_of_every_part_of_the_period(world, clock):
    clock.move_to(at(20, month=2))
    early, late = (time(7), time(15)), (time(9), time(21))
    planning.change_opening(by=world.manager, site=world.site, hours=[None] + [early] * 6)
    clock.move_to(at(10))
    planning.change_opening(by=world.manager, site=world.site, hours=[late] * 7, reason="Evening service")
    clock.move_to(at(2, month=4))
    told = told_of(world)
    assert "20 Feb 2026 Monday closed; Tuesday to Sunday 07:00 to 15:00" in told
    assert "10 Mar 2026 Monday to Sunday 09:00 to 21:00" in told and "Evening service." in told


def test_plans_that_began_in_the_period(world, clock):
    clock.move_to(at(9))
    check_every(world.probe, 3, by=world.manager, reason="Heavy use")
    planning.change_plan(by=world.manager, data=PlanData(site=world.site, pattern="weekdays", weekdays=31))
    clock.move_to(at(2, month=4))
    told = told_of(world)
    assert "9 Mar 2026 probe P1: its own plan every 3 days at 09:00 MH" in told and "Heavy use." in told
    assert "the plan of Alder School on Mondays to Fridays at 09:00 MH" in told


def test_nothing_of_other_sites_and_times(world, clock):
    planning.change_plan(by=world.supervisor, data=PlanData(site=world.other_site, every_days=2))
    clock.move_to(at(2, month=4))
    assert "open; hours not said" in told_of(world)
    nothing = section(sections_of(scope_of(world.site), days, no_entry), "What no entry was made of")
    assert "No closure was entered, and no public holiday fell in the period." in nothing
    assert "No plan of checks began in the period." in nothing


@pytest.mark.parametrize("closed", [True, False])
def test_a_check_after_a_closed_day_is_not_late(world, clock, closed):
    """Due on Sunday the 15th; where the site is closed then, on Monday; made on Monday."""
    clock.move_to(at(8, 8))
    if closed:
        planning.add_closure(
            by=world.manager, data=ClosureData(site=world.site, first_day=SUNDAY, last_day=SUNDAY, why="outing")
        )
    clock.move_to(at(30, 12))
    made = [making.good(world.probe, world.cook, at(day)) for day in (8, 16)]
    assert late(scope_of(world.site)) == ([] if closed else [f"C{made[1].pk}"])


def test_a_check_is_not_called_late_by_a_plan_that_began_after_it(world, clock):
    clock.move_to(at(20))
    for day in (8, 14):
        making.good(world.probe, world.cook, at(day))
    check_every(world.probe, 2, by=world.manager)
    assert late(scope_of(world.site)) == []


def test_a_probe_that_moved_is_told_by_the_plan_of_where_it_was(world, clock):
    """The next check after each, and whether it was late, by plan and calendar of the site where the probe was then."""
    clock.move_to(at(1))
    planning.change_plan(by=world.supervisor, data=PlanData(site=world.other_site, every_days=2))
    for day in (2, 9, 12):
        clock.move_to(at(day, 10))
        if day == 9:
            move_probe(by=world.supervisor, probe=world.probe, site=world.other_site, starts_at=at(9), reason="Lent.")
        making.good(Probe.objects.get(pk=world.probe.pk), world.cook, at(day, 10))
    clock.move_to(at(2, month=4))
    told = section_of(world.site, "Probes and their checks")
    assert "every 7 days at 09:00" in told, "as it was last checked here"
    assert "9 Mar 2026" in told and "11 Mar 2026" in told and "14 Mar 2026" in told and "16 Mar 2026" not in told
    assert late(scope_of(world.site)) == [f"C{world.probe.checks.latest('pk').pk}"]
    days = section_of(world.site, HEADING)
    assert "At Birch House: Lent." in days
