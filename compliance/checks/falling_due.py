"""When the next check of each probe is due, kept with what its checks say: for one probe or for all of many sites at once."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date, timedelta

from compliance.plans import schedule
from compliance.plans.calendar import DAY, Calendar, local_day
from compliance.plans.demands import (
    CAME,
    CLOSED,
    REOPENED,
    CheckDemand,
    Outstanding,
    by_plan,
    moment,
    not_before,
    settle,
)
from compliance.plans.queries import PlanBook, Reach, calendars
from compliance.plans.schedule import Plan, Stretch, asks_from, due_on, first_day, plan_at
from compliance.probes.models import Probe
from shared import clock

from .models import ProbeState
from .stays import Stay

# What is kept of the checks and events, and what follows from it by the plan.
ASKED = (
    "anchor_at", "near_edge", "at_once_at", "at_once_because", "at_once_after", "at_once_away", "settled_at",
)  # fmt: skip
BY_PLAN = (
    "anchor_day", "plan", "every_days", "grace_minutes", "due_at", "due_because", "due_day", "opens_at", "grace_at",
    "asks_away", "next_day", "next_key", "next_days",
)  # fmt: skip


def ask(state: ProbeState, found: Outstanding) -> None:
    """Keep what asks for a check at once, and the check from which the plan counts."""
    state.anchor_at = moment(found.last) if found.last else None
    state.near_edge = bool(found.last and found.last.conditional)
    state.at_once_at = found.at_once.at if found.at_once else None
    state.at_once_because = found.at_once.because if found.at_once else ""
    state.at_once_after = found.at_once.after if found.at_once else None
    state.at_once_away = bool(found.at_once and found.at_once.away)
    state.settled_at = found.settled


def plan_ahead(
    states: Iterable[ProbeState], probes: Mapping[int, Probe], book: PlanBook, stays: Mapping[int, list[Stay]]
) -> None:
    """Fill in by plan and calendar when each is due. `probes` by their key, their `site__area` loaded with them.

    `stays` as `stays_of` gives them. A constant number of queries for any number of states.
    """
    states, now = list(states), clock.now()
    works = calendars({probe.site_id: probe.site for probe in probes.values()}.values())
    before = _Before(states, probes, stays)
    for state in states:
        probe = probes[state.probe_id]
        calendar, stayed = works[probe.site_id], stays.get(probe.pk)
        candidates, today = book.candidates(Reach.of(probe)), local_day(now, probe.site.zone)
        told, by_now, day = schedule.stretches(candidates), None, None
        state.anchor_day = calendar.work_day(state.anchor_at) if state.anchor_at else None
        plan = plan_at(candidates, today)
        if state.anchor_day:
            by_now, plan, day = by_plan(state.anchor_at, told, calendar, state.near_edge)
            by_now = before.due_then(state, probe) or by_now
        here = by_now and _when_open(since_here(by_now, probe, stayed), by_now, calendar, plan)
        _settle(state, probe, plan, here, day if here is by_now else None, stayed)
        _follow(state, calendar, told, today, day)


def since_here(due: CheckDemand, probe: Probe, stays: list[Stay] | None) -> CheckDemand:
    """Due where the probe is not before it came there from elsewhere, nor before that site opened again for good."""
    due = not_before(stays[-1].start if stays and len(stays) > 1 else None, due, CAME)
    return not_before(probe.site.reopened_at, due, REOPENED)


class _Before:
    """What the plans of sites asked for from which probes moved away since their last good check; no query without one."""

    def __init__(self, states: list[ProbeState], probes: Mapping[int, Probe], stays: Mapping[int, list[Stay]]):
        self._stays = {
            state.probe_id: [stay for stay in stays[state.probe_id][:-1] if stay.end > state.anchor_at]
            for state in states if state.anchor_at and state.probe_id in stays
        }  # fmt: skip
        sites = {stay.site.pk: stay.site for gone in self._stays.values() for stay in gone}
        self._works = calendars(sites.values()) if sites else {}
        moved = [probes[pk] for pk, gone in self._stays.items() if gone]
        self._book = PlanBook.of_probes(moved, elsewhere=sites) if sites else None

    def due_then(self, state: ProbeState, probe: Probe) -> CheckDemand | None:
        """What fell due at another site and was not done there is due where the probe is now, from its arrival on."""
        for stay in self._stays.get(probe.pk, ()):
            calendar, told = self._works[stay.site.pk], self._book.stretches(Reach.of(probe, stay.site))
            due = by_plan(state.anchor_at, told, calendar, state.near_edge)[0]
            if due.at and due.at < stay.end:
                return due
        return None


def _when_open(here: CheckDemand, by_plan: CheckDemand, calendar: Calendar, plan: Plan) -> CheckDemand:
    """Where a probe comes overdue to a site on a closed day, it is due when the plan asks for a check on the next open one."""
    day = None if here is by_plan or here.at is None else calendar.work_day(here.at)
    opens = day and not calendar.is_open(day)[0] and due_on(plan, calendar, day)
    return (
        replace(here, at=opens.at, because=f"{here.because} on a closed day") if opens and opens.at > here.at else here
    )


def _settle(
    state: ProbeState, probe: Probe, plan: Plan, here: CheckDemand | None, day: date | None, stays: list[Stay] | None
) -> None:
    at_once = None
    if state.at_once_at:
        at_once = CheckDemand(state.at_once_at, state.at_once_because, state.at_once_after, state.at_once_away)
        at_once = since_here(at_once, probe, stays)
    earliest = settle(Outstanding(at_once, None, probe.withdrawn), here)
    state.plan_id = plan.key or None
    state.every_days = plan.every_days if plan.pattern == schedule.EVERY_DAYS else None
    state.grace_minutes = plan.grace_minutes
    state.due_at, state.due_because = (None, CLOSED) if probe.site.closed else (earliest.at, earliest.because)
    as_named = day is not None and here is not None and state.due_at is not None and state.due_at == here.at
    state.due_day = day if as_named else None
    state.opens_at, state.asks_away = earliest.after, earliest.away
    state.grace_at = state.due_at and state.due_at + timedelta(minutes=plan.grace_minutes)


def _follow(state: ProbeState, calendar: Calendar, told: list[Stretch], today: date, day: date | None) -> None:
    """Which plan asks for the checks after the one that is due, and from which day on, where no check is made.

    It is the plan in force now, or on the day that is due where that is to come. `day` is the one that the plan of the last
    good check names; where a check is due at once before, it is the next.
    """
    if state.due_at is None:
        state.next_day, state.next_key, state.next_days = None, 0, 1
        return
    base = state.due_day or day or calendar.work_day(max(state.due_at, state.settled_at or state.due_at))
    now = [stretch for stretch in told if stretch.since <= max(today, base)][-1]
    state.one_plan = now.since <= base
    coming = day and state.due_day is None
    since = asks_from(now, calendar)
    state.next_day = max(base, since) if coming else first_day(now.plan, base, max(base + DAY, since))
    state.next_key = now.plan.key
    state.next_days = now.plan.every_days if now.plan.pattern == schedule.EVERY_DAYS else 1
