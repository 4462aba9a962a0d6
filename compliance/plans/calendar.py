"""On which days a site works, from when to when, and which moment a time on its wall clock is. No clock, no database."""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cached_property, lru_cache
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

DAY = timedelta(days=1)
LONG_PAST = datetime.min.replace(tzinfo=UTC)
MOST_FOUND = 10_000  # that a calendar keeps
LOOK_AHEAD = 400  # days; a site that is closed for longer than this has no next open day
YEARS = range(1990, 2104)  # of all days that can be entered (`shared.bounds`), and a little further
Found = TypeVar("Found")
_NOTHING: Any = object()
WEEKDAYS = ("Mondays", "Tuesdays", "Wednesdays", "Thursdays", "Fridays", "Saturdays", "Sundays")


@dataclass(frozen=True, slots=True)
class Hours:
    """Local times of opening and closing; a closing not after the opening is on the next day, an equal one after 24 hours."""

    opens: time
    closes: time

    @property
    def past_midnight(self) -> bool:
        return self.closes <= self.opens

    def day_of(self, day: date, at: time) -> date:
        """The local day of a time on a day of work: one after midnight in hours that run until then is on the next day."""
        late = self.past_midnight and at <= self.closes and at < self.opens
        return day + DAY if late else day


@dataclass(frozen=True, slots=True)
class Week:
    """From this day on the site works at these hours, Monday first; None: closed on that weekday. `told`: when that was set."""

    since: date
    hours: tuple[Hours | None, ...]
    told: datetime = LONG_PAST


@dataclass(frozen=True, slots=True)
class Closed:
    """Days, both included, on which nothing is done, and why.

    `told` is when that was set; `struck` when it was struck out: what was due in between was not asked for.
    """

    first: date
    last: date
    why: str
    told: datetime = LONG_PAST
    struck: datetime | None = None

    def counts(self, at: datetime | None = None) -> bool:
        """Whether it does, or, struck out since, did at a moment."""
        return self.struck is None or (at is not None and self.told <= at < self.struck)


@dataclass(frozen=True, slots=True)
class Former:
    """What a site went by until a moment (UTC): the zone of its clock, its public holidays, the closures of its area."""

    until: datetime
    zone: ZoneInfo
    holidays: Mapping[date, str] = field(default_factory=dict)
    closures_of_area: tuple[Closed, ...] = ()


@dataclass(frozen=True)
class Calendar:
    """When one site works. Of the weeks that begin on one day the last one counts; with none it works every day.

    `holidays` names public holidays on which it is closed, `closures_of_area` those of its area; `closed`: it is closed for good.
    `formers` says what it went by before, the oldest first: what was due then, or was not asked for, stays so.
    """

    zone: ZoneInfo
    weeks: tuple[Week, ...] = ()
    closures: tuple[Closed, ...] = ()
    holidays: Mapping[date, str] = field(default_factory=dict)
    closed: bool = False
    closures_of_area: tuple[Closed, ...] = ()
    formers: tuple[Former, ...] = ()

    def changes(self) -> set[datetime]:
        """The moments (UTC) at which something was set, struck out or changed."""
        closures = [
            *self.closures,
            *self.closures_of_area,
            *(c for each in self.formers for c in each.closures_of_area),
        ]
        told = {*(week.told for week in self.weeks), *(closure.told for closure in closures)}
        return told | {c.struck for c in closures if c.struck} | {each.until for each in self.formers}

    def known_at(self, at: datetime, closed: bool = False) -> "Calendar":
        """What of it was known at a moment (UTC); `closed`: whether the site was closed for good then."""
        return self.once((bisect_right(self._changes, at), closed), lambda: self._known_at(at, closed))

    def once(self, key: Hashable, find: Callable[[], Found]) -> Found:
        """What was found for a key, or is now: the folds of all that is at a site ask for the same few things again and again."""
        known = self._found.get(key, _NOTHING)
        if known is _NOTHING:
            known = find()
            if len(self._found) >= MOST_FOUND:
                self._found.clear()
            self._found[key] = known
        return known

    @cached_property
    def _changes(self) -> list[datetime]:
        return sorted(self.changes())

    @cached_property
    def _found(self) -> dict:
        return {}

    def _known_at(self, at: datetime, closed: bool) -> "Calendar":
        then = next((each for each in self.formers if each.until > at), self)
        return Calendar(
            then.zone,
            tuple(week for week in self.weeks if week.told <= at),
            _set_by(self.closures, at),
            then.holidays,
            closed,
            _set_by(then.closures_of_area, at),
            tuple(each for each in self.formers if each.until <= at),
        )

    def is_open(self, day: date, at: datetime | None = None) -> bool:
        """Whether the site works on a day; where a moment (UTC) is given, by what was set for it then."""
        return not self.why_closed(day, at)

    def why_closed(self, day: date, at: datetime | None = None) -> str:
        """Why it does not, empty where it does. A closure that is entered late counts all the same: the site was closed."""
        if self.closed:
            return "the site is closed"
        then = at and next((each for each in self.formers if at < each.until), None)
        for closure in (*self.closures, *(then or self).closures_of_area):
            if closure.first <= day <= closure.last and closure.counts(at):
                return closure.why
        if holiday := (then or self).holidays.get(day):
            return holiday
        return self._why_no_hours(day, None) or (self._why_no_hours(day, at) if at else "")

    def hours(self, day: date) -> Hours | None:
        """The hours of a weekday at that time, whether or not a closure falls on it; None where closed or not known."""
        week = self._week(day)
        return week.hours[day.weekday()] if week else None

    def next_open(self, day: date) -> date | None:
        """This day, or else the first open one after it; None where there is none within 400 days."""
        days = (day + DAY * ahead for ahead in range(LOOK_AHEAD))
        return next((each for each in days if self.is_open(each)), None)

    def service(self, day: date) -> tuple[datetime, datetime] | None:
        """The moments (UTC) of opening and closing of an open day; None where it is closed or its hours are not known."""
        return self.once(day, lambda: self._service(day))

    def _service(self, day: date) -> tuple[datetime, datetime] | None:
        hours = self.hours(day)
        return self.moments(day, hours) if hours and self.is_open(day) else None

    def moments(self, day: date, hours: Hours) -> tuple[datetime, datetime]:
        """The moments (UTC) of opening and closing at these hours of a day."""
        ends = day + DAY if hours.past_midnight else day
        return self.instant(day, hours.opens), self.instant(ends, hours.closes)

    def moment(self, day: date, at: time) -> datetime:
        """The moment (UTC) of a time on a day of work, on the next day where the hours of this one still run then."""
        hours = self.hours(day)
        return self.instant(hours.day_of(day, at) if hours else day, at)

    def instant(self, day: date, at: time) -> datetime:
        """The moment (UTC) of a time on the wall clock. What was past when the clock was changed stays where it was, and
        nothing that was to come then becomes past by it."""
        if not self.formers:
            return instant(day, at, self.zone)
        found = None
        for zone, told in self._zones():
            if found is not None and found <= told:
                break
            moved = instant(day, at, zone)
            found = moved if found is None or moved > told else found
        return found

    def local_day(self, at: datetime) -> date:
        """The day on the wall clock at a moment, as that clock went then."""
        zone = next((each.zone for each in self.formers if at < each.until), self.zone)
        return local_day(at, zone)

    def _zones(self) -> Iterator[tuple[ZoneInfo, datetime]]:
        """The zones of its clock, each with the moment from which on."""
        told = [LONG_PAST, *(each.until for each in self.formers)]
        return zip([*(each.zone for each in self.formers), self.zone], told, strict=True)

    def work_day(self, at: datetime) -> date:
        """The day of work that a moment belongs to: where the hours of a day run past midnight, that day until they end."""
        day = self.local_day(at)
        return day if at >= self.begins(day) else day - DAY

    def day_asked(self, at: datetime) -> date:
        """The day of work that asks for what is due at a moment: as `work_day`, the moment of closing included, and of a day too
        on which a closure falls."""
        day = self.local_day(at)
        before, today = self.hours(day - DAY), self.service(day)
        runs = before is not None and before.past_midnight and at <= self.moments(day - DAY, before)[1]
        return day - DAY if runs and not (today and today[0] <= at) else day

    def begins(self, day: date) -> datetime:
        """The moment (UTC) from which on it is this day of work: midnight, or when the day before closes after it."""
        before = self.service(day - DAY)
        midnight = self.instant(day, time())
        return max(midnight, before[1]) if before else midnight

    def shift(self, day: date) -> tuple[datetime, datetime] | None:
        """The moments (UTC) at which a day of work opens and is over; None where it is closed or its hours are not known."""
        service = self.service(day)
        return service and (service[0], self.begins(day + DAY))

    def begun(self, day: date) -> list[Week]:
        """The weeks that were set for a day, in order: the last one counts."""
        return self._in_order[: bisect_right(self._in_order, day, key=lambda week: week.since)]

    @cached_property
    def _in_order(self) -> list[Week]:
        return sorted(self.weeks, key=lambda week: week.since)

    def _week(self, day: date) -> Week | None:
        begun = self.begun(day)
        return begun[-1] if begun else None

    def _why_no_hours(self, day: date, at: datetime | None) -> str:
        begun = [week for week in self.begun(day) if at is None or week.told <= at]
        return f"closed on {WEEKDAYS[day.weekday()]}" if begun and begun[-1].hours[day.weekday()] is None else ""


def _set_by(closures: Iterable[Closed], at: datetime) -> tuple[Closed, ...]:
    return tuple(
        replace(each, struck=None) if each.struck and each.struck > at else each for each in closures if each.told <= at
    )


@lru_cache(maxsize=20_000)  # a fold asks for the same days again and again
def instant(day: date, at: time, zone: ZoneInfo) -> datetime:
    """The moment (UTC) of a time on the wall clock of a zone.

    A time that the clocks skip moves to the first that exists; of one that they show twice it is the first.
    """
    wall = datetime.combine(day, at.replace(tzinfo=None, fold=0))
    before, after = (wall.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1))
    if after <= before:
        return (wall - before).replace(tzinfo=UTC)
    early, gap = (wall - after).replace(tzinfo=UTC), int((after - before).total_seconds())
    moved = bisect_left(range(gap), True, key=lambda s: _offset(early + timedelta(seconds=s), zone) == after)
    return early + timedelta(seconds=moved)


def local_day(at: datetime, zone: ZoneInfo) -> date:
    """The day on the wall clock of a zone at a moment."""
    return at.astimezone(zone).date()


def earliest_day(zones: Iterable[ZoneInfo], at: datetime) -> date:
    """The local day where it is earliest at a moment; that of UTC where there is no zone."""
    return min((local_day(at, zone) for zone in zones), default=local_day(at, UTC))


def _offset(at: datetime, zone: ZoneInfo) -> timedelta:
    return at.astimezone(zone).utcoffset()


@lru_cache(maxsize=64)
def public_holidays(country: str, subdivision: str = "") -> Mapping[date, str]:
    """The public holidays of a country or a part of it (ISO 3166 codes), of all years of which a day can be entered: worked out
    whole, for many threads share them.

    Raises ValueError for a code that is not known.
    """
    from holidays import country_holidays, list_supported_countries

    parts = list_supported_countries().get(country)
    if parts is None:
        raise ValueError(f"No public holidays are known for the country “{country}”. Give a code such as IE or NZ.")
    if subdivision and subdivision not in parts:
        raise ValueError(
            f"“{subdivision}” is no part of {country} whose holidays are known. Leave it empty, or give "
            f"one of {', '.join(parts) or 'none'}."
        )
    return dict(country_holidays(country, subdiv=subdivision or None, years=YEARS, expand=False))
