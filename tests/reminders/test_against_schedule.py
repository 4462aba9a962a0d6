"""The sweep against a slow oracle: due times by the pure schedule, one probe at a time, over random plans and calendars."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
import time_machine
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from compliance.checks.models import ProbeState
from compliance.plans.calendar import DAY
from compliance.plans.queries import calendars
from compliance.plans.schedule import due_on, names_day
from compliance.reminders import planning
from compliance.reminders.models import Reminder
from compliance.reminders.sweep import sweep
from sites.models import Site
from tests.checks import making
from tests.world import make_probe, make_site

BEGIN = datetime(2026, 3, 11, 12, tzinfo=UTC)  # the clocks change on the 29th, and a swept month crosses it
zones = st.sampled_from(["Europe/London", "Pacific/Auckland", "America/St_Johns"])
ats = st.sampled_from([time(0), time(1, 30), time(9), time(23, 59)])
plans = st.one_of(
    st.fixed_dictionaries({"pattern": st.just("every_days"), "every_days": st.integers(1, 9), "at": ats}),
    st.fixed_dictionaries({"pattern": st.just("weekdays"), "weekdays": st.integers(1, 127), "at": ats}),
)
closures = st.lists(st.tuples(st.integers(1, 25), st.integers(0, 6)), max_size=3, unique=True)
happened = st.lists(st.tuples(st.integers(1, 700), st.sampled_from(["good", "bad", "dropped"])), max_size=3)


def expected(probe, now) -> list[tuple]:
    """Due times, each with when it opens and closes, by walking day after day from what is due by the checks."""
    state = ProbeState.objects.get(probe=probe)
    if state.due_at is None or state.due_at > now:
        return []
    site = Site.objects.select_related("area").get(pk=probe.site_id)
    plan = probe.check_plans.latest("pk").as_plan()
    calendar = calendars([site])[site.pk]
    dues, opens, day = [state.due_at], [state.opens_at], first_after(state, probe, plan, calendar)
    while len(dues) < 2 or dues[-1] <= now:
        due = due_on(plan, calendar, day)
        if due.at > dues[-1]:
            dues.append(due.at)
            opens.append(begins(day - DAY * ((plan.every_days if plan.pattern == "every_days" else 1) - 1), site.zone))
        day += DAY * (plan.every_days if plan.pattern == "every_days" else 1)
        while not names_day(plan, day):
            day += DAY
    return list(zip(dues[:-1], opens, dues[1:], strict=False))


def begins(day: date, zone) -> datetime:
    """Just before midnight: a check is for a named day when it is made after the day on which it would leave it due."""
    return datetime.combine(day, time(), zone).astimezone(UTC) - timedelta(microseconds=1)


def first_after(state, probe, plan, calendar) -> date:
    """The day of the due time after the one that is due: the plan's own where a check is due at once before it."""
    local = state.due_at.astimezone(calendar.zone).date()
    step = plan.every_days if plan.pattern == "every_days" else 1
    if state.due_day is None and state.anchor_day is not None:
        day = state.anchor_day + DAY * step
    else:
        day = (state.due_day or local) + DAY * step
    while not names_day(plan, day):
        day += DAY
    return day


@pytest.mark.django_db
@given(zone=zones, plan=plans, closed=closures, happened=happened, stops=st.lists(st.integers(1, 720), max_size=5))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow], max_examples=40)
def test_what_is_written_is_what_the_schedule_says(world, zone, plan, closed, happened, stops):
    number = Reminder.objects.count() + Site.objects.count()
    with time_machine.travel(BEGIN, tick=False) as clock:
        site = make_site(world.area, f"Site {number}")
        Site.objects.filter(pk=site.pk).update(time_zone=zone)
        site.refresh_from_db()
        probe = make_probe(site, f"S{number}", by=world.manager)
        making.good(probe, world.cook, BEGIN - timedelta(hours=1))
        planning.change_plan(by=world.manager, probe=probe, reason="tried", **plan)
        for first, length in closed:
            begins = BEGIN.date() + DAY * first
            planning.add_closure(
                by=world.manager, site=site, first_day=begins, last_day=begins + DAY * length, why="tried"
            )
        for hour, kind in sorted(happened):
            clock.move_to(BEGIN + timedelta(hours=hour))
            make_happen(world, probe, kind, BEGIN + timedelta(hours=hour))
        end = BEGIN + timedelta(hours=720)
        for stop in sorted(stops):
            if stop > max([hour for hour, _ in happened], default=0):
                sweep(BEGIN + timedelta(hours=stop))
        sweep(end)
        wanted = expected(probe, end)
    since = ProbeState.objects.get(probe=probe).due_at
    rows = Reminder.objects.filter(probe=probe, since_at=since).order_by("due_at")
    assert list(rows.values_list("due_at", "opens_at", "closes_at")) == wanted


def make_happen(world, probe, kind, at) -> None:
    if kind == "dropped":
        making.event(probe, world.cook, "dropped", at)
    else:
        getattr(making, kind)(probe, world.cook, at)
