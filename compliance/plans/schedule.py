"""When something is due by a plan: local days by rule, moments by the site's calendar. No clock, no database."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from functools import wraps
from itertools import groupby, pairwise
from typing import Any

from dateutil.rrule import MINUTELY, rrule

from .calendar import DAY, LONG_PAST, LOOK_AHEAD, WEEKDAYS, Calendar, Found, Hours

EVERY_DAYS, ON_WEEKDAYS = "every_days", "weekdays"
SOON = 4  # the part of the interval after which a probe that passed near its edge is checked again; judgement
NEVER = date.max
FAR_OFF = datetime.max.replace(tzinfo=UTC)
TICK = timedelta(microseconds=1)
HALF_A_DAY = timedelta(hours=12)  # by which the clocks that are furthest behind lag UTC
EVENING = timedelta(hours=4)  # before a check due ahead of its own day, in which one is for that day already; judgement
EARLY = timedelta(minutes=15)  # by which a reading may always be early; judgement
FIRST = timedelta(hours=1)  # by which the first reading of a day may be early once the site is open; judgement
LATEST = 2 / 3  # of the time to the next due time, after which a reading is overdue whatever its grace; judgement
ALL_WEEK = 0b1111111


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """When a probe is to be checked. `key` 0 is the plan that every business starts with.

    `weekdays` is a bit mask with Monday 1, Tuesday 2, Wednesday 4 … ; `minutes_before` opening replaces `at` where the
    hours of the day are known. `set_at` is when it was set.
    """

    key: int = 0
    pattern: str = EVERY_DAYS
    every_days: int = 7
    weekdays: int = 0
    at: time = time(9)
    minutes_before: int | None = None
    grace_minutes: int = 120
    set_at: datetime = field(default=LONG_PAST, compare=False)

    @property
    def interval(self) -> float:
        """Days from one check to the next, on average."""
        return self.every_days if self.pattern == EVERY_DAYS else 7 / max(1, self.weekdays.bit_count())

    @property
    def grace(self) -> timedelta:
        return timedelta(minutes=self.grace_minutes)

    @property
    def days(self) -> int:
        """The interval in whole days, at least one."""
        return max(1, round(self.interval))

    @property
    def usual(self) -> str:
        """The plan in words, such as “every 7 days” or “on Mondays and Thursdays”."""
        if self.pattern == EVERY_DAYS:
            return every(self.every_days)
        return "every day" if self.weekdays == ALL_WEEK else f"on {listed(days_of(self.weekdays))}"

    @property
    def told(self) -> str:
        """With the time of day, such as “every 7 days at 09:00”, or “…, 30 min before opening, else at 09:00”."""
        if self.minutes_before is None:
            return f"{self.usual} at {self.at:%H:%M}"
        return f"{self.usual}, {self.minutes_before} min before opening, else at {self.at:%H:%M}"


STARTING = Plan()


@dataclass(frozen=True, slots=True)
class Due:
    """Due at a moment (UTC), for the local `day` that the plan names; `because` says the plan, and why it was moved."""

    at: datetime
    day: date
    because: str


@dataclass(frozen=True, slots=True)
class Stretch:
    """The plan in force from a local day until the next stretch; `told` is when that was set."""

    since: date
    plan: Plan
    told: datetime = LONG_PAST


@dataclass(frozen=True, slots=True)
class Candidate:
    """A plan as it was set: `rank` 0 is the nearest scope; of those of one rank and day the last in `order` counts."""

    rank: int
    since: date
    order: int
    in_force: bool
    plan: Plan
    told: datetime = LONG_PAST


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundPlan:
    """When readings are to be taken: at local times of day, or every so many minutes while open."""

    key: int = 0
    times: tuple[time, ...] = ()
    every_minutes: int | None = None
    weekdays: int = ALL_WEEK
    grace_minutes: int = 30

    @property
    def usual(self) -> str:
        """In words, such as “at 08:00 and 14:00, every 2 h while open, on Mondays”."""
        at = f"at {listed([f'{at:%H:%M}' for at in sorted(self.times)])}" if self.times else ""
        often = f"{each(self.every_minutes)} while open" if self.every_minutes else ""
        days = "" if self.weekdays == ALL_WEEK else f"on {listed(days_of(self.weekdays))}"
        return ", ".join(filter(None, (at, often, days)))

    @property
    def grace(self) -> timedelta:
        return timedelta(minutes=self.grace_minutes)

    def names(self, day: date) -> bool:
        """Whether it asks for readings on this day."""
        return bool(self.weekdays >> day.weekday() & 1)


def every(days: int) -> str:
    return "every day" if days == 1 else f"every {days} days"


def listed(words: Sequence[str]) -> str:
    """Such as “a, b and c”."""
    return " and ".join(filter(None, (", ".join(words[:-1]), *words[-1:])))


def days_of(weekdays: int) -> list[str]:
    """Such as “Mondays” and “Wednesdays to Fridays”."""
    runs = groupby(range(8), key=lambda position: bool(weekdays >> position & 1))
    names = ([WEEKDAYS[position] for position in run] for chosen, run in runs if chosen)
    return [word for run in names for word in (run if len(run) < 3 else [f"{run[0]} to {run[-1]}"])]


def names_day(plan: Plan, day: date) -> bool:
    """Whether a plan on weekdays names this day; any day may be that of a plan every so many days."""
    return plan.pattern == EVERY_DAYS or bool(plan.weekdays >> day.weekday() & 1)


def kept_by_calendar(find: Callable[[Any, Calendar, date], Found]) -> Callable[[Any, Calendar, date], Found]:
    """What is found for a plan and a day is kept by the calendar. When the plan was set has a say in checks, in rounds none."""

    @wraps(find)
    def kept(plan: Plan | RoundPlan, calendar: Calendar, day: date) -> Found:
        return calendar.once((find, plan, getattr(plan, "set_at", None), day), lambda: find(plan, calendar, day))

    return kept


@kept_by_calendar
def due_on(plan: Plan, calendar: Calendar, day: date) -> Due | None:
    """When what the plan asks for on a day is due: that day, or else the next open one. None while there is none."""
    why = ""
    for works in (day + DAY * ahead for ahead in range(0 if calendar.closed else LOOK_AHEAD)):
        at = _moment(plan, calendar, works)
        closed = calendar.why_closed(works, at)
        if not closed:
            moved = f"; moved from {day:%a} {day.day} {day:%b} ({why})" if why else ""
            return Due(at, day, plan.usual + moved)
        why = why or closed
    return None


def _moment(plan: Plan, calendar: Calendar, day: date) -> datetime:
    """What was due before other hours were set stays due at its time: one day of a plan falls due once. None is due before."""
    due = calendar.instant(day, plan.at)
    for week in calendar.begun(day):
        if plan.set_at < due <= week.told:
            break
        found = _in_hours(plan, day, week.hours[day.weekday()], calendar)
        if not max(found, plan.set_at) <= week.told < due < FAR_OFF:
            due = found
    return due


def _in_hours(plan: Plan, day: date, hours: Hours | None, calendar: Calendar) -> datetime:
    if hours is None:
        return FAR_OFF
    if plan.minutes_before is None:
        return calendar.instant(hours.day_of(day, plan.at), plan.at)
    return calendar.instant(day, hours.opens) - timedelta(minutes=plan.minutes_before)


def first_day(plan: Plan, anchor: date, not_before: date, soon: bool = False) -> date:
    """The day that the plan names first after `anchor`, the local day of the last good check.

    `soon`: that check passed near its edge, so only a part of the interval is waited for, and at least a day.
    """
    if soon or plan.pattern == EVERY_DAYS:
        return max(anchor + DAY * wait(plan, soon), not_before)
    start = max(anchor + DAY, not_before)
    return next(named_days(plan, start, NEVER))


def wait(plan: Plan, soon: bool = False) -> int:
    """The days from a good check to the one that the plan asks for next; on weekdays it may be any number of them."""
    if soon:
        return max(1, int(plan.interval / SOON))
    return plan.every_days if plan.pattern == EVERY_DAYS else 1


def counts_after(plan: Plan, calendar: Calendar, day: date, soon: bool = False) -> datetime:
    """A check made after this moment (UTC) is for the named day: an earlier one would leave that day due.

    So what a check answers does not depend on when it was entered.
    """
    on_the_day = plan.pattern == ON_WEEKDAYS and not soon
    return _counts_from(plan, calendar, day if on_the_day else day - DAY * (wait(plan, soon) - 1)) - TICK


def settles(plan: Plan, calendar: Calendar, at: datetime) -> date:
    """The day of the plan that a check of a moment (UTC) is for: its day of work, or the next one from the evening before on."""
    day = calendar.work_day(at)
    if at < _counts_from(plan, calendar, day):
        return day - DAY
    return day + DAY if at >= _counts_from(plan, calendar, day + DAY) else day


@kept_by_calendar
def _counts_from(plan: Plan, calendar: Calendar, day: date) -> datetime:
    """From when on a check is for a day: when that begins, or in the evening before where it is due ahead of its beginning.

    One that was due after midnight in the hours of the day before may be late by its grace, but is for the day that is nearer.
    """
    begins = calendar.begins(day)
    due = _moment(plan, calendar, day) if calendar.is_open(day) else begins
    if due < begins:
        return due - EVENING
    last = _due_after_midnight(plan, calendar, day - DAY)
    return max(begins, min(last + plan.grace, last + (due - last) / 2)) if last else begins


def _due_after_midnight(plan: Plan, calendar: Calendar, day: date) -> datetime | None:
    if not names_day(plan, day) or not calendar.is_open(day):
        return None
    due = _moment(plan, calendar, day)
    return due if calendar.local_day(due) > day else None


def due_times(plan: Plan, calendar: Calendar, day: date, at: datetime = LONG_PAST) -> Iterator[Due]:
    """What falls due after a day that is due at a moment (UTC), or on which it was checked, where no check is made; each moment
    once, and none where the site never opens."""
    for named in named_days(plan, first_day(plan, day, day + DAY), NEVER):
        due = due_on(plan, calendar, named)
        if due is None:
            return
        if due.at > at:
            at = due.at
            yield due


def named_days(plan: Plan, begin: date, end: date) -> Iterator[date]:
    """The days of the plan from `begin`, which is one of them where it is every so many days, up to `end`, which is none."""
    step = plan.every_days if plan.pattern == EVERY_DAYS else 1
    while begin < end:
        if names_day(plan, begin):
            yield begin
        begin += step * DAY


def stretches(candidates: Iterable[Candidate]) -> list[Stretch]:
    """Which plan is in force from when: the nearest that has begun and is in force; `STARTING` where there is none.

    Of those that begin on one day each has its stretch, in the order in which they were set.
    """
    found, begun = [Stretch(date.min, STARTING)], []
    for each in sorted(candidates, key=lambda c: (c.since, c.order)):
        begun.append(each)
        found.append(Stretch(each.since, plan_at(begun, each.since), each.told))
    return found


def plan_at(candidates: Iterable[Candidate], day: date) -> Plan:
    """The plan in force on a day: of each scope the one that began last, of the scopes the nearest in force."""
    latest: dict[int, Candidate] = {}
    for candidate in sorted(candidates, key=lambda c: (c.since, c.order)):
        if candidate.since <= day:
            latest[candidate.rank] = candidate
    nearest = min((c for c in latest.values() if c.in_force), key=lambda c: c.rank, default=None)
    return nearest.plan if nearest else STARTING


def first_due_day(
    plans: Sequence[Stretch], calendar: Calendar, checked_at: datetime, soon: bool = False
) -> tuple[Plan, date]:
    """The first day named after the check of a moment (UTC), by the plan that was in force on that day, and that plan.

    What has fallen due under one plan stays due under the next: no change of plan makes an overdue check go away, and none
    makes one due before it. That holds for the days of a plan too that were over, or half over, when it was set: what was due
    before that stays due, and the plan that was set asks for nothing before it.
    """
    for stretch, following in pairwise([*plans, Stretch(NEVER, plans[-1].plan)]):
        checked = settles(stretch.plan, calendar, checked_at)
        day = first_day(stretch.plan, checked, max(asks_from(stretch, calendar), checked), soon)
        if day < following.since or _was_due(stretch.plan, day, calendar, following.told):
            break
    return stretch.plan, day


def asks_from(stretch: Stretch, calendar: Calendar) -> date:
    """The first day that a plan asks for. One that begins on the day on which it is set asks for no time that was over by then.

    It may be tomorrow already where the site is: a plan of many sites begins on the day where it is earliest.
    """
    if stretch.told == LONG_PAST or stretch.since < (stretch.told - HALF_A_DAY).date():
        return stretch.since
    days = (stretch.since + DAY * ahead for ahead in range(4))
    return next((day for day in days if not _was_due(stretch.plan, day, calendar, stretch.told)), stretch.since)


def _was_due(plan: Plan, day: date, calendar: Calendar, told: datetime) -> bool:
    if told == LONG_PAST:
        return False
    due = due_on(plan, calendar, day)
    return due is not None and due.at <= told


@kept_by_calendar
def round_times(plan: RoundPlan, calendar: Calendar, day: date) -> list[Due]:
    """When readings are due on a day. One on which the site is closed has none."""
    if not plan.names(day) or not calendar.is_open(day):
        return []
    return [due for due in _round_on(plan, calendar, day) if calendar.is_open(day, due.at)]


def _round_on(plan: RoundPlan, calendar: Calendar, day: date) -> Iterator[Due]:
    for at in sorted(plan.times):
        due, before = calendar.moment(day, at), day - DAY
        if calendar.moment(before, at) != due or round_day(plan, calendar, due) != before:
            yield Due(due, day, f"at {at:%H:%M}")
    service = calendar.service(day)
    if plan.every_minutes and service:
        opens, closes = (moment.replace(tzinfo=None) for moment in service)
        because = f"{each(plan.every_minutes)} while open"
        for at in rrule(MINUTELY, interval=plan.every_minutes, dtstart=opens, until=closes):
            yield Due(at.replace(tzinfo=UTC), day, because)


def round_day(plan: RoundPlan, calendar: Calendar, at: datetime) -> date:
    """The day of a reading that is due at a moment: the one whose hours still run then, if it has readings, or the local day."""
    day = calendar.day_asked(at)
    return day if plan.names(day) else calendar.local_day(at)


def graces(dues: Sequence[tuple[datetime, datetime]]) -> list[datetime]:
    """When each due time becomes overdue: after its grace, but no later than two thirds of the way to the next one.

    `dues` in order, each with the end of the grace that it was given. So there is time to be late before it is missed.
    """
    ends = [min(grace, due + (following - due) * LATEST) for (due, grace), (following, _) in pairwise(dues)]
    return [*ends, *(grace for _, grace in dues[-1:])]


def windows(
    dues: Sequence[tuple[datetime, datetime]], days: Sequence[tuple[datetime, datetime] | None] = ()
) -> list[tuple[datetime, datetime]]:
    """From when to when a reading is for each due time: (opens, closes], none for two of them.

    `dues` in order, each with the end of its grace, as `graces` gives it. A reading is early by no more than the grace (15
    min, if that is more), nearer to its due time than to the end of the grace before, and late by a day at most.
    `days` are the moments at which the day of work of each opens and is over, where its hours are known: with it, or with the
    grace, its readings are over, and the first one may be taken an hour early while the site is open.
    """
    spans = list(days) or [None] * len(dues)
    firsts = [span if span != before else None for before, span in zip([None, *spans], spans, strict=False)]
    opens = [_earliest(*pair, first) for pair, first in zip(dues, firsts, strict=True)]
    over = graces(dues)
    for position, (grace, (due, _)) in enumerate(zip(over, dues[1:], strict=False), start=1):
        opens[position] = max(opens[position], grace + (due - grace) / 2)
    ends = [
        min(due + DAY, following, max(grace, span[1]) if span else FAR_OFF)
        for (due, _), grace, span, following in zip(dues, over, spans, [*opens[1:], FAR_OFF], strict=False)
    ]
    return list(zip(opens, ends, strict=True))


def _earliest(due: datetime, grace: datetime, opened: tuple[datetime, datetime] | None) -> datetime:
    usual = due - max(grace - due, EARLY)
    return min(usual, max(opened[0], due - FIRST) - TICK) if opened else usual


def each(minutes: int) -> str:
    """Such as “every 90 min” or “every 2 h”."""
    return f"every {minutes // 60} h" if minutes % 60 == 0 else f"every {minutes} min"
