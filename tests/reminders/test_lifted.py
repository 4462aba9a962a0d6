"""Nothing falls due for a probe that is withdrawn or elsewhere, nor on a day that turns out to be closed; the record says why."""

from datetime import UTC, date, datetime, time, timedelta

import pytest

from compliance.checks.actions import void_event
from compliance.checks.instruments import move_probe
from compliance.checks.models import ProbeState
from compliance.reminders import planning
from compliance.reminders.models import Reminder
from tests.checks import making
from tests.plans.making import check_every
from tests.records.making import record_of, section
from tests.reminders.making import ready, statuses, swept, told

NOW = datetime(2026, 3, 11, 12, tzinfo=UTC)  # a Wednesday
pytestmark = pytest.mark.usefixtures("clock")


def at(day: int, hour: int = 9) -> datetime:
    return datetime(2026, 3, day, hour, tzinfo=UTC)


@pytest.fixture
def daily(world, clock):
    """Checked on Tuesday at noon, every day from Wednesday at nine on; it is now Friday at noon."""
    making.good(world.probe, world.cook, at(10, 12))
    check_every(world.probe, 1, by=world.manager, effective_from=date(2026, 3, 12))
    clock.move_to(at(13, 12))
    swept()
    assert told() == [(at(12), "missed"), (at(13), "overdue")]
    return world.probe


def why(due: datetime) -> str:
    return Reminder.objects.get(due_at=due).cancelled_because


def test_withdrawn_while_overdue_is_neither_open_nor_missed_after_it(daily, world, clock):
    making.event(daily, world.manager, "withdrawn", at(13, 12), "Display broken")
    clock.move_to(at(20, 12))
    assert swept() == 0
    assert told() == [(at(12), "missed"), (at(13), "cancelled")]
    assert why(at(13)) == "withdrawn from use on 13 Mar 2026: Display broken"


def test_a_withdrawal_entered_late_reaches_back_to_when_it_was(daily, world):
    making.event(daily, world.manager, "withdrawn", at(12, 15))
    assert told() == [(at(12), "cancelled"), (at(13), "cancelled")]


def test_a_withdrawal_that_is_struck_out_lifts_nothing(daily, world):
    event = making.event(daily, world.manager, "withdrawn", at(12, 15))
    void_event(by=world.manager, event=event, reason="Another probe.")
    assert told() == [(at(12), "missed"), (at(13), "overdue")]


def test_what_returns_is_due_from_its_return_on(daily, world, clock):
    making.event(daily, world.manager, "withdrawn", at(13, 12))
    clock.move_to(at(18, 12))
    making.event(daily, world.manager, "returned", at(18, 10))
    assert told() == [(at(12), "missed"), (at(13), "cancelled"), (at(18, 10), "overdue")]
    assert ProbeState.objects.get(probe=daily).due_at == at(18, 10)
    making.good(daily, world.cook, at(18, 11))
    assert statuses(due_at=at(18, 10)) == ["cleared"]


def test_moved_while_overdue_it_is_asked_for_where_it_came(daily, world):
    move_probe(by=world.supervisor, probe=daily, site=world.other_site, starts_at=at(13, 11), reason="Lent for a week")
    assert told(site=world.site) == [(at(12), "missed"), (at(13), "cancelled")]
    assert why(at(13)) == "moved to Birch House on 13 Mar 2026: Lent for a week"
    assert told(site=world.other_site) == [(at(13, 11), "due")]
    assert Reminder.objects.get(due_at=at(13, 11)).because == "every day; due since it came here"


def test_a_laxer_plan_where_it_came_does_not_make_an_overdue_check_go_away(world, clock):
    making.good(world.probe, world.cook, at(10, 12))
    planning.change_plan(by=world.supervisor, site=world.other_site, every_days=90, reason="Hardly used.")
    clock.move_to(at(17, 12))
    move_probe(by=world.supervisor, probe=world.probe, site=world.other_site, starts_at=at(17, 11), reason="Lent.")
    assert told() == [(at(17), "cancelled"), (at(17, 11), "due")]


def test_what_was_not_due_yet_comes_under_the_plan_where_it_came(world, clock):
    making.good(world.probe, world.cook, at(10, 12))
    planning.change_plan(by=world.supervisor, site=world.other_site, every_days=90, reason="Hardly used.")
    clock.move_to(at(16, 12))
    move_probe(by=world.supervisor, probe=world.probe, site=world.other_site, starts_at=at(16, 11), reason="Lent.")
    assert told() == [] and ProbeState.objects.get(probe=world.probe).due_at == datetime(2026, 6, 8, 8, tzinfo=UTC)


def test_a_site_that_closes_for_good_leaves_what_was_missed(daily, world, clock):
    planning.change_site(by=world.supervisor, site=world.site, changes={"closed": True})
    clock.move_to(at(20))
    assert swept() == 0 and told() == [(at(12), "missed"), (at(13), "cancelled")]
    assert why(at(13)) == "the site is closed for good"
    planning.change_site(by=world.supervisor, site=world.site, changes={"closed": False})
    assert told()[:2] == [(at(12), "missed"), (at(13), "cancelled")]


def test_a_closure_entered_after_the_check_was_due_says_that_it_came_late(world, clock):
    making.good(world.probe, world.cook, at(10, 12))
    clock.move_to(at(17, 12))
    closure = planning.add_closure(
        by=world.manager, site=world.site, first_day=at(17).date(), last_day=at(18).date(), why="burst pipe"
    )
    assert told() == [(at(17), "cancelled")] and ProbeState.objects.get(probe=world.probe).due_at == at(19)
    assert why(at(17)) == "burst pipe; entered after it had fallen due"
    planning.strike_closure(by=world.manager, closure=closure, reason="mended")
    assert told() == [(at(17), "overdue")]


def test_a_closure_does_not_make_a_check_go_away_that_was_due_on_a_day_before_it(daily, world):
    planning.add_closure(
        by=world.manager, site=world.site, first_day=at(13).date(), last_day=at(14).date(), why="burst pipe"
    )
    assert told() == [(at(12), "missed"), (at(13), "overdue")]
    assert Reminder.objects.get(due_at=at(13)).closes_at == at(15)


def test_a_plan_set_after_the_check_was_due_does_not_make_it_go_away(world, clock):
    making.good(world.probe, world.cook, at(10, 12))
    clock.move_to(at(17, 12))
    check_every(world.probe, 90, by=world.manager)
    assert told() == [(at(17), "overdue")]
    assert ProbeState.objects.get(probe=world.probe).due_at == at(17)


def test_what_a_struck_out_event_asked_for(world):
    making.good(world.probe, world.cook, at(10, 12))
    event = making.event(world.probe, world.cook, "dropped", at(11, 10))
    assert statuses() == ["overdue"]
    void_event(by=world.manager, event=event, reason="Another probe.")
    assert statuses() == ["cancelled"] and why(at(11, 10)) == "what asked for it was struck out or corrected"


def test_an_early_check_entered_late_leaves_the_day_due_as_it_would_have_in_time(world, clock):
    """A plan by weekdays asks for a check on the day; one of the day before is not it, whenever it was entered."""
    making.good(world.probe, world.cook, at(10, 12))
    planning.change_plan(by=world.manager, probe=world.probe, pattern="weekdays", weekdays=0b0001000, at=time(9))
    clock.move_to(at(12, 12))
    swept()
    making.good(world.probe, world.cook, at(11, 13))
    assert told() == [(at(12), "overdue")] and ProbeState.objects.get(probe=world.probe).due_at == at(12)
    making.good(world.probe, world.cook, at(12, 7))
    assert told() == [(at(12), "cleared")] and ProbeState.objects.get(probe=world.probe).due_at == at(19)


def test_past_midnight_a_check_is_of_the_day_whose_hours_still_run(world, clock):
    planning.change_opening(by=world.manager, site=world.site, hours=[(time(17), time(2))] * 7)
    check_every(world.probe, 1, by=world.manager)
    clock.move_to(at(12, 1))
    making.good(world.probe, world.cook, at(12, 0) + timedelta(minutes=30))
    assert ProbeState.objects.get(probe=world.probe).due_at == at(12)
    clock.move_to(at(12, 12))
    ready(world.probe)
    assert told(due_at=at(12)) == [(at(12), "overdue")]
    making.good(world.probe, world.cook, at(12, 2))
    assert told(due_at=at(12)) == [(at(12), "cleared")]


def test_the_record_says_why_nothing_was_asked_for(daily, world, clock):
    making.event(daily, world.manager, "withdrawn", at(13, 12), "Display broken")
    clock.move_to(at(25, 12))
    record = record_of(world.site)
    done, days = section(record, "Planned and done"), section(record, "Days of work and plans of checks")
    assert "1 not asked for" in done and "withdrawn from use on 13 Mar 2026: Display broken." in done
    assert "Withdrawn from use: Display broken." in days and "not yet back" in days and "13 Mar 2026 12:00" in days
