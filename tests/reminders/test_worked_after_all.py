"""What was not asked for when it was due is not asked for afterwards, and what was stays: days that are worked after all, and
another clock, other holidays or another area of a site."""

from datetime import UTC, date, datetime, time

import pytest

from compliance.checks.models import ProbeState
from compliance.overview.queries import probes_in_use
from compliance.overview.todo import to_do_today
from compliance.plans.actions import set_round
from compliance.plans.data import ClosureData, RoundData
from compliance.reminders import planning
from compliance.reminders.actions import excuse_reminder
from sites.models import Site
from tests.checks import making
from tests.plans.making import check_every

from .making import come, ready, statuses, swept, told

pytestmark = pytest.mark.usefixtures("clock")  # 11 March 2026, a Wednesday, noon UTC


def at(day: int, hour: int = 9, minute: int = 0, month: int = 3) -> datetime:
    return datetime(2026, month, day, hour, minute, tzinfo=UTC)


def fresh(site):
    return Site.objects.get(pk=site.pk)


@pytest.fixture
def daily(world, clock):
    """Checked on Tuesday the 10th at eight, every day at nine from then on."""
    clock.move_to(at(10, 8))
    making.good(world.probe, world.cook, at(10, 8))
    check_every(world.probe, 1, by=world.manager)
    return world.probe


def test_days_that_are_worked_after_all_ask_for_nothing_that_was_over_by_then(daily, world, clock):
    making.good(daily, world.cook, at(10, 8))
    closure = planning.add_closure(
        by=world.manager,
        data=ClosureData(site=world.site, first_day=date(2026, 3, 11), last_day=date(2026, 3, 20), why="works"),
    )
    clock.move_to(at(14, 15))
    swept()
    planning.strike_closure(by=world.manager, closure=closure, reason="Done early.")
    swept()
    assert ProbeState.objects.get().due_at >= at(14, 15)
    assert "overdue" not in statuses()


def test_a_weekday_that_is_worked_from_today_on_asks_for_nothing_that_was_over(daily, world, clock):
    hours = [(time(8), time(20))] * 7
    planning.change_opening(by=world.manager, site=world.site, hours=[*hours[:2], None, *hours[3:]])
    assert ProbeState.objects.get().due_at == at(12)
    clock.move_to(at(11, 15))  # the Wednesday
    planning.change_opening(by=world.manager, site=world.site, hours=hours)
    swept()
    assert ProbeState.objects.get().due_at >= at(11, 15) and "overdue" not in statuses()


def test_a_public_holiday_that_is_worked_after_all_asks_for_nothing_that_was_over(daily, world, clock):
    by, site = world.supervisor, world.site
    planning.change_site(by=by, site=fresh(site), changes={"country": "IE", "closed_on_holidays": True})
    clock.move_to(at(16, 10))
    making.good(daily, world.cook, at(16, 10))
    assert ProbeState.objects.get().due_at == at(18)
    clock.move_to(at(17, 15))
    planning.change_site(by=by, site=fresh(site), changes={"closed_on_holidays": False})
    swept()
    assert ProbeState.objects.get().due_at >= at(17, 15)


def test_no_check_was_missed_on_a_public_holiday_because_the_next_ones_will_be_worked(daily, world, clock):
    by, site = world.supervisor, world.site
    planning.change_site(by=by, site=fresh(site), changes={"country": "IE", "closed_on_holidays": True})
    clock.move_to(at(16, 10))
    making.good(daily, world.cook, at(16, 10))
    clock.move_to(at(20, 12))
    swept()
    before = told(due_at__gt=at(16, 10))
    planning.change_site(by=by, site=fresh(site), changes={"closed_on_holidays": False})
    swept()
    assert told(due_at__gt=at(16, 10)) == before == [(at(18), "missed"), (at(19), "missed"), (at(20), "overdue")]


def test_a_site_that_goes_to_another_area_missed_nothing_on_days_closed_in_the_old_one(daily, world, clock):
    planning.add_closure(
        by=world.supervisor,
        data=ClosureData(area=world.area, first_day=date(2026, 3, 11), last_day=date(2026, 3, 13), why="strike"),
    )
    clock.move_to(at(15, 12))
    swept()
    before = told()
    assert before == [(at(14), "missed"), (at(15), "overdue")]
    planning.change_site(by=world.supervisor, site=fresh(world.site), changes={"area": world.far_area})
    swept()
    assert told() == before


def test_another_zone_makes_no_second_row_of_a_day_that_was_missed(daily, world, clock):
    clock.move_to(at(13, 12))
    swept()
    assert told() == [(at(11), "missed"), (at(12), "missed"), (at(13), "overdue")]
    planning.change_site(by=world.supervisor, site=fresh(world.site), changes={"time_zone": "Europe/Paris"})
    swept()
    days = [due.astimezone(UTC).date() for due, status in told() if status in ("missed", "overdue", "due")]
    assert len(days) == len(set(days)) == 3, told()


def test_another_zone_leaves_an_excuse_where_it_was(world, clock):
    making.good(world.probe, world.cook, at(1, 8))
    ready(world.probe)
    swept()
    excuse_reminder(by=world.manager, reminder=come().get(), reason="In the laboratory.")
    planning.change_site(by=world.supervisor, site=fresh(world.site), changes={"time_zone": "Europe/Paris"})
    swept()
    assert to_do_today(fresh(world.site), probes_in_use(fresh(world.site)), at(11, 12)) == [], told()


def test_another_zone_does_not_make_an_overdue_check_go_away(daily, world, clock):
    clock.move_to(at(11, 12))
    swept()
    planning.change_site(by=world.supervisor, site=fresh(world.site), changes={"time_zone": "Pacific/Honolulu"})
    clock.move_to(at(11, 12, 1))
    swept()
    assert ProbeState.objects.get().due_at <= at(11, 12, 1), told()


def test_a_public_holiday_kept_from_today_on_leaves_what_was_missed_on_one_before(daily, world, clock):
    by, site = world.supervisor, world.site
    planning.change_site(by=by, site=fresh(site), changes={"country": "IE"})
    clock.move_to(at(16, 10))
    making.good(daily, world.cook, at(16, 10))
    clock.move_to(at(18, 12))
    swept()
    before = told(due_at__gt=at(16, 10))
    assert before == [(at(17), "missed"), (at(18), "overdue")]
    planning.change_site(by=by, site=fresh(site), changes={"closed_on_holidays": True})
    swept()
    assert told(due_at__gt=at(16, 10)) == before


def test_a_reading_due_while_the_day_was_closed_is_not_asked_for_when_it_is_worked_after_all(world, clock):
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(13), time(17)]))
    closure = planning.add_closure(
        by=world.manager,
        data=ClosureData(site=world.site, first_day=date(2026, 3, 11), last_day=date(2026, 3, 11), why="power cut"),
    )
    clock.move_to(at(11, 15))
    planning.strike_closure(by=world.manager, closure=closure, reason="Power is back.")
    clock.move_to(at(11, 18))
    swept()
    assert [due for due, _ in told(round__isnull=False)] == [at(11, 17)]


def test_a_closure_entered_and_struck_out_after_a_check_fell_due_changes_nothing(daily, world, clock):
    clock.move_to(at(11, 12))
    swept()
    closure = planning.add_closure(
        by=world.manager,
        data=ClosureData(site=world.site, first_day=date(2026, 3, 11), last_day=date(2026, 3, 11), why="flood"),
    )
    clock.move_to(at(11, 13))
    planning.strike_closure(by=world.manager, closure=closure, reason="It was the other kitchen.")
    swept()
    assert told() == [(at(11), "overdue")]
