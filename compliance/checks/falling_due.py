"""When the next check of each probe is due, kept with what its checks say: for one probe or for all of many sites at once."""

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from compliance.plans import schedule
from compliance.plans.calendar import DAY, local_day
from compliance.plans.models import Slot
from compliance.plans.queries import PlanBook, Reach, calendars
from compliance.plans.schedule import Plan, Stretch, due_on, first_day, first_due_day, plan_at
from compliance.probes.models import Probe
from shared import clock
from sites.models import Site

from .due import Due, Outstanding, moment, said, settle
from .models import ProbeState

# What is kept of the checks and events, and what follows from it by the plan.
ASKED = (
    "anchor_day", "anchor_at", "near_edge", "at_once_at", "at_once_because", "at_once_after", "at_once_away",
)  # fmt: skip
BY_PLAN = (
    "plan", "every_days", "grace_minutes", "due_at", "due_because", "due_day", "opens_at", "grace_at", "asks_away", "next_day",
    "next_key", "next_days",
)  # fmt: skip
CLOSED = "the site is closed for good"


def ask(state: ProbeState, found: Outstanding, zone: ZoneInfo) -> None:
    """Keep what asks for a check at once, and the day from which the plan counts."""
    state.anchor_day = local_day(found.last.at, zone) if found.last else None
    state.anchor_at = moment(found.last) if found.last else None
    state.near_edge = bool(found.last and found.last.conditional)
    state.at_once_at = found.at_once.at if found.at_once else None
    state.at_once_because = found.at_once.because if found.at_once else ""
    state.at_once_after = found.at_once.after if found.at_once else None
    state.at_once_away = bool(found.at_once and found.at_once.away)


def plan_ahead(states: Iterable[ProbeState], probes: Mapping[int, Probe], book: PlanBook) -> None:
    """Fill in by plan and calendar when each is due. `probes` by their key, their `site__area` loaded with them.

    At most three queries for any number of states.
    """
    now, waiting = clock.now(), []
    for state in states:
        probe = probes[state.probe_id]
        candidates, today = book.candidates(Reach.of(probe)), local_day(now, probe.site.zone)
        told = schedule.stretches(candidates)
        if state.anchor_day is None:
            _settle(state, probe, plan_at(candidates, today), None)
            _follow(state, probe, told, today)
        else:
            plan, day = first_due_day(told, state.anchor_day, state.near_edge)
            waiting.append((state, probe, plan, day, told, today))
    dues = _moments({(probe.site_id, plan.key, day): (probe.site, plan) for _, probe, plan, day, _, _ in waiting})
    for state, probe, plan, day, told, today in waiting:
        _settle(state, probe, plan, dues[probe.site_id, plan.key, day])
        _follow(state, probe, told, today, day)


def _moments(wanted: dict[tuple[int, int, date], tuple[Site, Plan]]) -> dict[tuple, schedule.Due | None]:
    """Looked up in the slots; worked out by the calendar where they do not reach, as for days long past."""
    sites, keys, days = ({each[n] for each in wanted} for n in range(3))
    slots = Slot.objects.filter(site__in=sites, plan_key__in=keys, day__in=days)
    found = {
        (site, key, day): schedule.Due(at, day, because)
        for site, key, day, at, because in slots.values_list("site_id", "plan_key", "day", "due_at", "because")
    }
    missing = {each: where for each, where in wanted.items() if each not in found}
    by_site = calendars({site.pk: site for site, _ in missing.values()}.values()) if missing else {}
    return found | {each: due_on(plan, by_site[site.pk], each[2]) for each, (site, plan) in missing.items()}


def _settle(state: ProbeState, probe: Probe, plan: Plan, due: schedule.Due | None) -> None:
    at_once = None
    if state.at_once_at:
        at_once = Due(state.at_once_at, state.at_once_because, state.at_once_after, state.at_once_away)
    by_plan = said(plan, due, state.near_edge, state.anchor_at) if state.anchor_day else None
    earliest = settle(Outstanding(at_once, None, probe.withdrawn), by_plan)
    state.plan_id = plan.key or None
    state.every_days = plan.every_days if plan.pattern == schedule.EVERY_DAYS else None
    state.grace_minutes = plan.grace_minutes
    state.due_at, state.due_because = (None, CLOSED) if probe.site.closed else (earliest.at, earliest.because)
    state.due_day = due.day if due and state.due_at == due.at else None
    state.opens_at, state.asks_away = earliest.after, earliest.away
    state.grace_at = state.due_at and state.due_at + timedelta(minutes=plan.grace_minutes)


def _follow(state: ProbeState, probe: Probe, told: list[Stretch], today: date, day: date | None = None) -> None:
    """Which plan asks for the checks after the one that is due, and from which day on, where no check is made.

    It is the plan in force now, or on the day that is due where that is to come. `day` is the one that the plan of the last
    good check names; where a check is due at once before, it is the next.
    """
    if state.due_at is None:
        state.next_day, state.next_key, state.next_days = None, 0, 1
        return
    base = state.due_day or day or local_day(state.at_once_at, probe.site.zone)
    now = [stretch for stretch in told if stretch.since <= max(today, base)][-1]
    coming = day and state.due_day is None
    state.next_day = max(base, now.since) if coming else first_day(now.plan, base, max(base + DAY, now.since))
    state.next_key = now.plan.key
    state.next_days = now.plan.every_days if now.plan.pattern == schedule.EVERY_DAYS else 1
