"""What a probe is to be checked for, and when: a pure fold over its facts. No clock, no database.

The fold walks along the moments at which something happened to the probe or was set for it. From one to the next it goes by
what was so by the first: checks and events of that time, whenever they were entered; plans, closures and hours known by then.
So what has fallen due stays whatever is set afterwards, and the order in which checks and events were entered has no say.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from heapq import merge
from itertools import pairwise, takewhile

from compliance.metrology.vocabulary import OUT_OF_USE, CheckKind, Verdict

from .calendar import DAY, Calendar
from .demands import (
    CAME,
    CLOSED,
    NEVER_OPEN,
    PUT_ASIDE,
    REOPENED,
    TURNS,
    WITHDRAWN,
    CheckDemand,
    Checked,
    Happened,
    Outstanding,
    by_plan,
    latest,
    moment,
    not_before,
    outstanding,
    place,
    said,
)
from .obligation_lines import OPEN_END, CheckObligation, Planned, PointLine
from .schedule import (
    EVERY_DAYS,
    NEVER,
    Candidate,
    Plan,
    Stretch,
    asks_from,
    counts_after,
    due_on,
    first_day,
    kept_by_calendar,
    named_days,
    names_day,
    stretches,
)

BACK = "returned to use"
NOT_PLACED = "it has not been placed anywhere"
FAILED = "first comes what its failed check asks for"


@dataclass(frozen=True, slots=True)
class SiteFacts:
    """A site with all that was ever set for its days of work; `closings` says when it was closed for good, or opened again."""

    key: int
    calendar: Calendar
    closings: tuple[tuple[datetime, bool], ...] = ()
    name: str = ""

    def changes(self) -> set[datetime]:
        return self.calendar.changes() | {at for at, _ in self.closings}

    def closed_at(self, at: datetime) -> bool:
        known = [closed for when, closed in self.closings if when <= at]
        return known[-1] if known else self.calendar.closed and not self.closings

    def reopened_by(self, at: datetime) -> datetime | None:
        return max((when for when, closed in self.closings if not closed and when <= at), default=None)

    def known_at(self, at: datetime) -> Calendar:
        return self.calendar.known_at(at, self.closed_at(at))


@dataclass(frozen=True, slots=True)
class Stay:
    """From `start` on the probe is at a site, under the plans that were ever set for it there."""

    site: SiteFacts
    start: datetime
    plans: tuple[Candidate, ...] = ()
    reason: str = ""

    def changes(self) -> set[datetime]:
        return self.site.changes() | {plan.told for plan in self.plans}


@dataclass(frozen=True, slots=True)
class ProbeFacts:
    """Live checks and events in any order; the stays in order, one after the other; the key of the probe."""

    checks: tuple[Checked, ...] = ()
    events: tuple[Happened, ...] = ()
    stays: tuple[Stay, ...] = ()
    probe: int | None = None


@dataclass(frozen=True, slots=True)
class Folded:
    """All that is asked for of a probe; `nothing` says why no row lies ahead, `at_once` why a check is asked for at once."""

    rows: tuple[CheckObligation, ...] = ()
    nothing: str = ""
    at_once: str = ""

    @property
    def next(self) -> CheckObligation | None:
        """The first that is neither done nor cancelled since the last that was done or ended, of either point."""
        waiting: dict[str, CheckObligation] = {}
        for row in self.rows:
            if row.done_at or row.ended:
                waiting.pop(row.point, None)
            elif not row.cancelled_at:
                waiting.setdefault(row.point, row)
        return min(waiting.values(), key=lambda row: row.due_at, default=None)


def folded(facts: ProbeFacts, until: datetime) -> Folded:
    """Up to a moment, which is not before the last of the facts, and the next after it however far."""
    fold = _Fold(facts)
    for at in _moments(facts):
        fold.move_to(at)
    return Folded(tuple(fold.rows(until)), fold.nothing, fold.at_once)


@kept_by_calendar
def planned_on(plan: Plan, calendar: Calendar, day: date) -> Planned | None:
    """What a plan asks for on a day; None where the site never opens again."""
    due = due_on(plan, calendar, day)
    if due is None:
        return None
    demand = said(plan, due, False, counts_after(plan, calendar, day))
    return Planned(demand, day, plan.grace, demand)


def _moments(facts: ProbeFacts) -> list[datetime]:
    """When something happened or was set, from the first placement on; what happened before is known by then."""
    if not facts.stays:
        return []
    found = {stay.start for stay in facts.stays}
    found |= {max(moment(check), facts.stays[0].start) for check in facts.checks}
    found |= {max(event.at, facts.stays[0].start) for event in facts.events}
    ends = [*(stay.start for stay in facts.stays[1:]), OPEN_END]
    for stay, end in zip(facts.stays, ends, strict=True):
        found |= {at for at in stay.changes() if stay.start < at < end}
    return sorted(found)


class _Fold:
    """One probe as it is at a moment, with the rows until then and what its plan asks for next."""

    def __init__(self, facts: ProbeFacts):
        self._facts = facts
        self._later_checks = sorted(facts.checks, key=lambda check: (moment(check), place(check)), reverse=True)
        self._later_events = sorted(facts.events, key=lambda event: (event.at, event.order), reverse=True)
        self._checks: list[Checked] = []
        self._events: list[Happened] = []
        points = (False, CheckKind.ZERO), (True, CheckKind.BOILING)
        self._lines = {away: PointLine(point, facts.probe) for away, point in points}
        self._zero = self._lines[False]
        self._days: set[date] = set()
        self._stay: Stay | None = None
        self._put_off: CheckDemand | None = None
        self._kept: list[Planned] = []
        self._ahead: Iterator[Planned] = iter(())
        self._next: Planned | None = None
        self.nothing, self.at_once = NOT_PLACED, ""

    def rows(self, until: datetime) -> list[CheckObligation]:
        """Up to `until` and the next; where one window ends is known from the row after it."""
        beyond = sum(row.due_at > until for row in self._zero.rows)
        while self._next and beyond < 2:
            beyond += self._next.demand.at > until
            self._write_next()
        zero = self._zero.rows[:-1] if beyond > 1 else self._zero.rows
        return sorted([*zero, *self._lines[True].rows], key=lambda row: (row.due_at, row.point != CheckKind.ZERO))

    def move_to(self, at: datetime) -> None:
        while self._next and self._next.demand.at <= at:
            self._write_next()
        self._take_in(at)
        stay = [stay for stay in self._facts.stays if stay.start <= at][-1]
        came = self._stay is not None and stay is not self._stay
        if came:
            self._leave(stay, at)
        if came or self._stay is None or at in self._changes:
            self._know(stay, at)
        gone = self._gone(stay, at)
        found = outstanding(self._checks, self._events, self._facts.stays[0].start)
        if gone:
            self._end(gone, None if stay.site.closed_at(at) else found.at_once, at)
            return
        if self._waits_aside():
            self._zero.cancel(at, BACK)
        self.at_once = found.at_once.because if found.at_once else ""
        grace = self._on(self._calendar.local_day(at)).plan.grace
        for due in (self._since_here(due, at) for due in found.reasons):
            self._lines[due.away].add(due, stay.site.key, grace)
        self._plan_from(found, at)

    # ---- what happened

    def _take_in(self, at: datetime) -> None:
        while self._later_checks and moment(self._later_checks[-1]) <= at:
            check = self._later_checks.pop()
            self._answer(check)
            self._checks.append(check)
        while self._later_events and self._later_events[-1].at <= at:
            self._events.append(self._later_events.pop())
        self._forget()

    def _answer(self, check: Checked) -> None:
        """A conclusive check is for what waits; if nothing does, for what its day of work still asks for."""
        if check.verdict == Verdict.INCONCLUSIVE:
            return
        line = self._lines[not check.at_zero]
        if check.at_zero:
            if line.waiting is None and self._is_early(check):
                self._write_next()
            self._kept, self._put_off, self._next, self._ahead = [], None, None, iter(())
        if line.waiting and moment(check) > line.waiting.opens_at:
            line.waiting.done_at = check.at

    def _is_early(self, check: Checked) -> bool:
        if self._next is None or self._next.day is None:
            return False
        due = self._next.demand
        day = self._calendar.day_asked(due.at)
        return due.after < moment(check) and check.at <= due.at and self._calendar.work_day(check.at) == day

    def _forget(self) -> None:
        """What a later check has answered for good, so that a long history takes no longer than a short one."""
        last, away = (latest(self._checks, at_zero=at_zero) for at_zero in (True, False))
        if last is None:
            return
        self._checks = [
            check
            for check in self._checks
            if place(check) >= place(last) or (not check.at_zero and (away is None or place(check) >= place(away)))
        ]
        self._events = [event for event in self._events if event.at >= last.at or event.kind in TURNS]

    # ---- where it is, and whether anything is asked for there

    def _leave(self, to: Stay, at: datetime) -> None:
        """What was due and not done where it was is due where it came."""
        if (row := self._zero.waiting) and row.planned:
            self._put_off = row.planned.origin
        for line in self._lines.values():
            line.cancel(at, f"moved to {to.site.name}: {to.reason}".rstrip(": "))
        self._kept = []

    def _know(self, stay: Stay, at: datetime) -> None:
        """What is known at a moment of the plans and days of work of a site."""
        changed = self._stay is stay
        self._stay, self._calendar = stay, stay.site.known_at(at)
        self._changes = stay.changes()
        self._stretches = stretches(plan for plan in stay.plans if plan.told <= at)
        if changed:
            soon = takewhile(lambda each: each.demand.at <= at + 2 * DAY, self._rest_ahead())
            self._kept = [*self._kept, *(each for each in soon if self._is_over(each.day, at))]

    def _rest_ahead(self) -> Iterator[Planned]:
        if self._next:
            yield self._next
            yield from self._ahead

    def _is_over(self, day: date | None, at: datetime) -> bool:
        """Whether the plan asks for this day at a time that was past when it was set: the day keeps its row."""
        if day is None or day in self._days:
            return False
        stretch = self._on(day)
        every = stretch.plan.pattern == EVERY_DAYS
        named = day == stretch.since or stretch.plan.every_days == 1 if every else names_day(stretch.plan, day)
        due = due_on(stretch.plan, self._calendar, day) if named else None
        return due is not None and due.at <= at

    def _gone(self, stay: Stay, at: datetime) -> str:
        turns = [e for e in self._events if e.kind in TURNS]
        if turns and turns[-1].kind in OUT_OF_USE:
            return f"{WITHDRAWN}: {turns[-1].note}".rstrip(": ")
        return CLOSED if stay.site.closed_at(at) else ""

    def _end(self, gone: str, aside: CheckDemand | None, at: datetime) -> None:
        """Nothing is asked for any more but the check that a probe put aside waits for, with what is left of the grace."""
        waiting = self._zero.waiting
        grace = self._on(self._calendar.local_day(at)).plan.grace
        if waiting:
            grace = max(timedelta(0), min(grace, waiting.grace_at - at))
        if not (aside and self._waits_aside()):
            self._zero.cancel(at, gone)
        self._lines[True].cancel(at, gone)
        if aside:
            self._zero.add(self._since_here(aside, at), self._stay.site.key, grace)
        self._kept, self._put_off, self.at_once = [], None, aside.because if aside else ""
        self._look_ahead(iter(()), gone)

    def _waits_aside(self) -> bool:
        waiting = self._zero.waiting
        return waiting is not None and waiting.because.startswith(PUT_ASIDE)

    def _since_here(self, due: CheckDemand, at: datetime) -> CheckDemand:
        """Due no earlier than the probe came, or the site opened again."""
        if self._stay is not self._facts.stays[0]:
            due = not_before(self._stay.start, due, CAME)
        return not_before(self._stay.site.reopened_by(at), due, REOPENED)

    # ---- what its plan asks for

    def _on(self, day: date) -> Stretch:
        return [stretch for stretch in self._stretches if stretch.since <= day][-1]

    def _plan_from(self, found: Outstanding, at: datetime) -> None:
        """What the plan asks for after the last good check or, where there is none, after what asked for one at once."""
        waiting = self._zero.waiting
        if waiting and waiting.of_failure:
            self._look_ahead(iter(()), FAILED)
        elif found.last:
            due, plan, day = by_plan(moment(found.last), self._stretches, self._calendar, bool(found.last.conditional))
            first = self._first(due, plan, day, at)
            at_once = any(not reason.away and due.at and reason.at < due.at for reason in found.reasons)
            self._look_ahead(self._plan_ahead(first, day, at, at_once), NEVER_OPEN.because)
        else:
            earliest = self._since_here(next(due for due in found.reasons if not due.away), at)
            base = self._calendar.work_day(max(earliest.at, found.settled or earliest.at))
            self._look_ahead(self._plan_ahead(None, base, at), NEVER_OPEN.because)

    def _first(self, due: CheckDemand, plan: Plan, day: date, at: datetime) -> Planned | None:
        """The check after the last good one, if it is to come; one that was overdue when the probe came is due here at once."""
        origin = self._put_off or due
        if origin.at is None:
            return None
        here = self._since_here(origin, at)
        if here is origin:
            return Planned(due, day, plan.grace, due) if due.at > at and day not in self._days else None
        local = self._on(self._calendar.local_day(here.at)).plan
        put_off = Planned(self._when_open(here, local), None, local.grace, origin)
        since = takewhile(lambda row: row.due_at >= here.at, reversed(self._zero.rows))
        if any(row.planned and row.planned.day is None for row in since):
            return None
        if put_off.demand.at > at:
            return put_off
        self._zero.add(put_off.demand, self._stay.site.key, put_off.grace, put_off)
        return None

    def _when_open(self, here: CheckDemand, plan: Plan) -> CheckDemand:
        """On a closed day it is due when the plan asks for a check on the next open one."""
        day = self._calendar.work_day(here.at)
        opens = None if self._calendar.is_open(day) else due_on(plan, self._calendar, day)
        if opens is None or opens.at <= here.at:
            return here
        return replace(here, at=opens.at, because=f"{here.because} on a closed day")

    def _plan_ahead(self, first: Planned | None, base: date, at: datetime, at_once: bool = False) -> Iterator[Planned]:
        """What the plans ask for after a day, each on its own days, where no check is made.

        `at_once`: one was asked for at once before that day, which then is the next."""
        if first:
            yield first
            at = first.demand.at
        reaching = self._reaching(base)
        for stretch, following in pairwise([*reaching, Stretch(NEVER, reaching[-1].plan)]):
            plan, since = stretch.plan, asks_from(stretch, self._calendar)
            begin = max(base, since) if at_once else first_day(plan, base, max(base + DAY, since))
            for day in named_days(plan, begin, following.since):
                if day in self._days:
                    continue
                planned = planned_on(plan, self._calendar, day)
                if planned is None:
                    return
                if planned.demand.at > at:
                    at = planned.demand.at
                    yield planned

    def _reaching(self, base: date) -> list[Stretch]:
        """The plan of a day and those after it."""
        begun = [stretch for stretch in self._stretches if stretch.since <= base]
        return [begun[-1], *self._stretches[len(begun) :]]

    def _look_ahead(self, coming: Iterable[Planned], nothing: str) -> None:
        self._ahead = merge(self._kept, coming, key=lambda each: each.demand.at) if self._kept else iter(coming)
        self._step()
        self.nothing = "" if self._next else nothing

    def _step(self) -> None:
        fresh = (each for each in self._ahead if each.day not in self._days and not self._zero.has(each.demand.at))
        self._next = next(fresh, None)

    def _write_next(self) -> None:
        planned = self._next
        self._zero.add(planned.demand, self._stay.site.key, planned.grace, planned)
        if planned.day:
            self._days.add(planned.day)
        self._step()
