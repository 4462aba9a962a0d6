"""What changes about rounds, limits and days of work moves the readings to come: none that was over, none asked for twice."""

import sys
import threading
from datetime import UTC, date, datetime, time, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from compliance.checks.planning import hold
from compliance.checks.timeline import lock
from compliance.plans import calendar
from compliance.plans.actions import set_round
from compliance.plans.data import ClosureData, PlanData, RoundData
from compliance.reminders import planning
from compliance.reminders.models import Reminder
from sites.models import Site
from tests.world import make_limit, make_reading

from .making import statuses, told

DAILY = [(time(8), time(20))] * 7
READINGS = Reminder.objects.filter(limit__isnull=False)
pytestmark = pytest.mark.usefixtures("clock")  # 11 March 2026, a Wednesday, noon UTC


def at(day, hour=9, minute=0, month=3):
    return datetime(2026, month, day, hour, minute, tzinfo=UTC)


def fresh(site):
    return Site.objects.get(pk=site.pk)


def test_a_round_every_half_hour_is_due_then_overdue_then_missed(world, clock):
    planning.change_opening(by=world.manager, site=world.site, hours=DAILY)
    set_round(by=world.manager, limit=world.limit, data=RoundData(every_minutes=30, grace_minutes=30))
    seen = []
    for minute in (19, 21, 26):
        clock.move_to(at(12, 8, minute))
        seen += statuses(limit__isnull=False, due_at=at(12, 8))
    assert seen == ["due", "overdue", "missed"]
    make_reading(world.probe, world.limit, "3.0", at(12, 8, 20), by=world.cook)
    assert statuses(limit__isnull=False, due_at=at(12, 8)) == ["cleared"]


def test_one_reading_clears_one_round_where_the_times_change_during_the_day(world, clock):
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(8), time(20)]))
    clock.move_to(at(12, 9))
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(10), time(12)]))
    clock.move_to(at(12, 10, 5))
    make_reading(world.probe, world.limit, "3.0", at(12, 10), by=world.cook)
    assert told(limit__isnull=False, due_at__gte=at(12, 0)) == [(at(12, 8), "missed"), (at(12, 10), "cleared")]


def test_a_reading_taken_before_the_times_changed_stays_with_the_round_that_it_was_for(world, clock):
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(8), time(20)]))
    make_reading(world.probe, world.limit, "3.0", at(12, 8, 57), by=world.cook)
    clock.move_to(at(12, 9))
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(9, 10)]))
    clock.move_to(at(12, 9, 11))
    assert told(limit__isnull=False, due_at__gte=at(12, 0)) == [(at(12, 8), "cleared"), (at(12, 9, 10), "due")]


def test_midnight_of_a_site_that_never_closes_is_one_round_and_may_be_taken_early(world, clock):
    planning.change_opening(by=world.manager, site=world.site, hours=[(time(0), time(0))] * 7)
    set_round(by=world.manager, limit=world.limit, data=RoundData(every_minutes=120))
    assert READINGS.filter(due_at=at(12, 0)).count() == 1
    make_reading(world.probe, world.limit, "3.0", at(11, 23, 55), by=world.cook)
    clock.move_to(at(12, 3))
    assert (at(12, 0), "cleared") in told(limit__isnull=False)


CHANGES = {
    "zone": ({}, {"time_zone": "Europe/Paris"}),
    "reopened": ({"closed": True}, {"closed": False}),
    "holidays": ({"country": "IE", "closed_on_holidays": True}, {"closed_on_holidays": False}),
}


@pytest.mark.parametrize("change", ["hours", "closure", *CHANGES])
def test_a_change_of_the_calendar_asks_for_no_reading_of_a_time_that_was_over(world, clock, change):
    clock.move_to(at(16, 12))
    site, by, old, new = world.site, world.supervisor, *CHANGES.get(change, ({}, {}))
    planning.change_opening(by=by, site=site, hours=[(time(12), time(20))] * 7)
    closed = [date(2026, 3, 17), date(2026, 3, 19)] if change == "closure" else [date(2026, 4, 1)] * 2
    closure = planning.add_closure(
        by=by, data=ClosureData(site=site, first_day=closed[0], last_day=closed[1], why="works")
    )
    set_round(by=by, limit=world.limit, data=RoundData(times=[time(7), time(11)], every_minutes=120))
    if old:
        planning.change_site(by=by, site=fresh(site), changes=old)
    clock.move_to(at(18, 15))
    before = told(limit__isnull=False)
    if new:
        planning.change_site(by=by, site=fresh(site), changes=new)
    elif change == "hours":
        planning.change_opening(by=by, site=site, hours=[(time(6), time(20))] * 7)
    else:
        planning.strike_closure(by=by, closure=closure, reason="Done early.")
    assert told(limit__isnull=False) == before
    clock.move_to(at(19, 15))
    assert len(told(limit__isnull=False)) > len(before)


def test_readings_begin_with_the_limit(world, clock):
    limit = make_limit(world.site, by=world.manager, code="new", effective_from=at(13, 6))
    set_round(by=world.manager, limit=limit, data=RoundData(times=[time(5), time(14)]))
    clock.move_to(at(14, 4))
    assert [due for due, _ in told(limit__isnull=False)] == [at(13, 14)]


@pytest.mark.parametrize("away", [15, 45, 100])
def test_the_readings_of_a_standstill_are_all_written_once(world, clock, away):
    """Those of the eight days ahead were asked for in time; of the rest nobody was told before it was over."""
    planning.change_opening(by=world.manager, site=world.site, hours=DAILY)
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(8), time(9)]))
    clock.shift(timedelta(days=away))
    planning.extend_horizon(datetime.now(UTC))
    days = [date(2026, 3, 11) + timedelta(days=day) for day in range(1, away + 1)]
    expected = [calendar.instant(day, time(hour), world.site.zone) for day in days for hour in (8, 9)]
    assert [due for due, _ in told(limit__isnull=False)] == expected
    windows = READINGS.filter(round__isnull=False).order_by("due_at").values_list("opens_at", "closes_at")
    assert all(before[1] <= after[0] for before, after in zip(windows, windows[1:], strict=False))
    count = READINGS.count()
    planning.extend_horizon(datetime.now(UTC))
    assert READINGS.count() == count


def test_what_a_change_after_a_standstill_brings_begins_with_it(world, clock):
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(8)]))
    clock.shift(timedelta(days=20))
    planning.change_site(by=world.supervisor, site=fresh(world.site), changes={"closed": True})
    assert READINGS.count() == 20, "it was open until now"
    assert not READINGS.filter(limit__isnull=False, due_at__gt=timezone.now()).exists()


def test_made_again_nothing_is_written(world):
    planning.extend_horizon(datetime.now(UTC))
    with CaptureQueriesContext(connection) as queries:
        planning.extend_horizon(datetime.now(UTC))
    assert not [q for q in queries if "plans_" in q["sql"] and not q["sql"].startswith("SELECT")]


def test_who_makes_due_times_lets_readings_be_written_meanwhile(world):
    """A foreign key asks PostgreSQL for a lock that FOR UPDATE keeps out, and FOR NO KEY UPDATE does not."""
    with CaptureQueriesContext(connection) as queries:
        planning.change_plan(by=world.manager, data=PlanData(site=world.site, every_days=3))
        hold(world.probe), lock(world.probe)
    held = [q["sql"] for q in queries if " FOR " in q["sql"]]
    assert not [sql for sql in held if "FOR UPDATE" in sql]
    assert len(held) >= (5 if connection.vendor == "postgresql" else 0)


@pytest.fixture
def switching():
    """Threads take turns as often as they can."""
    usual = sys.getswitchinterval()
    sys.setswitchinterval(1e-6)
    yield
    sys.setswitchinterval(usual)


def test_many_threads_ask_for_public_holidays_of_one_year_at_once(switching):
    """They are worked out whole before anybody sees them."""
    wrong = []
    for _ in range(20):
        calendar.public_holidays.cache_clear()
        holidays, start = calendar.public_holidays("ES"), threading.Barrier(6)

        def ask(holidays=holidays, start=start):
            start.wait()
            wrong.extend([True] if holidays.get(date(2026, 12, 25)) is None else [])

        threads = [threading.Thread(target=ask) for _ in range(6)]
        [thread.start() for thread in threads], [thread.join() for thread in threads]
    assert not wrong
