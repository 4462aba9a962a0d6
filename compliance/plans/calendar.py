"""On which days a site works, from when to when, and which moment a time on its wall clock is. No clock, no database."""

from bisect import bisect_left
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from holidays import country_holidays, list_supported_countries

DAY = timedelta(days=1)
LOOK_AHEAD = 400  # days; a site that is closed for longer than this has no next open day
WEEKDAYS = ("Mondays", "Tuesdays", "Wednesdays", "Thursdays", "Fridays", "Saturdays", "Sundays")


@dataclass(frozen=True, slots=True)
class Hours:
    """Local times of opening and closing; a closing not after the opening is on the next day, an equal one after 24 hours."""

    opens: time
    closes: time

    @property
    def past_midnight(self) -> bool:
        return self.closes <= self.opens

    def moments(self, day: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
        """The moments (UTC) of opening and closing on a day."""
        ends = day + DAY if self.past_midnight else day
        return instant(day, self.opens, zone), instant(ends, self.closes, zone)

    def moment(self, day: date, at: time, zone: ZoneInfo) -> datetime:
        """The moment (UTC) of a time on a day of work: one after midnight in hours that run until then is on the next day."""
        late = self.past_midnight and at <= self.closes and at < self.opens
        return instant(day + DAY if late else day, at, zone)


@dataclass(frozen=True, slots=True)
class Week:
    """From this day on the site works at these hours, Monday first; None: closed on that weekday. `told`: when that was set."""

    since: date
    hours: tuple[Hours | None, ...]
    told: datetime = datetime.min.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Closed:
    """Days, both included, on which nothing is done, and why."""

    first: date
    last: date
    why: str


@dataclass(frozen=True)
class Calendar:
    """When one site works. Of the weeks that begin on one day the last one counts; with none it works every day.

    `holidays` names public holidays on which it is closed; `closed`: it is closed for good.
    """

    zone: ZoneInfo
    weeks: tuple[Week, ...] = ()
    closures: tuple[Closed, ...] = ()
    holidays: Mapping[date, str] = field(default_factory=dict)
    closed: bool = False

    def is_open(self, day: date) -> tuple[bool, str]:
        """Whether the site works on a day, and if not why."""
        why = self._why_closed(day)
        return not why, why

    def hours(self, day: date) -> Hours | None:
        """The hours of a weekday at that time, whether or not a closure falls on it; None where closed or not known."""
        week = self._week(day)
        return week.hours[day.weekday()] if week else None

    def next_open(self, day: date) -> date | None:
        """This day, or else the first open one after it; None where there is none within 400 days."""
        days = (day + DAY * ahead for ahead in range(LOOK_AHEAD))
        return next((each for each in days if not self._why_closed(each)), None)

    def service(self, day: date) -> tuple[datetime, datetime] | None:
        """The moments (UTC) of opening and closing of an open day; None where it is closed or its hours are not known."""
        hours = self.hours(day)
        return None if hours is None or self._why_closed(day) else hours.moments(day, self.zone)

    def moment(self, day: date, at: time) -> datetime:
        """The moment (UTC) of a time on a day of work, on the next day where the hours of this one still run then."""
        hours = self.hours(day)
        return hours.moment(day, at, self.zone) if hours else instant(day, at, self.zone)

    def work_day(self, at: datetime) -> date:
        """The day of work that a moment belongs to: where the hours of a day run past midnight, that day until they end."""
        day = local_day(at, self.zone)
        return day if at >= self.begins(day) else day - DAY

    def day_asked(self, at: datetime) -> date:
        """The day of work that asks for what is due at a moment: as `work_day`, the moment of closing included, and of a day too
        on which a closure falls."""
        day = local_day(at, self.zone)
        before, today = self.hours(day - DAY), self.service(day)
        runs = before is not None and before.past_midnight and at <= before.moments(day - DAY, self.zone)[1]
        return day - DAY if runs and not (today and today[0] <= at) else day

    def begins(self, day: date) -> datetime:
        """The moment (UTC) from which on it is this day of work: midnight, or when the day before closes after it."""
        before = self.service(day - DAY)
        midnight = instant(day, time(), self.zone)
        return max(midnight, before[1]) if before else midnight

    def shift(self, day: date) -> tuple[datetime, datetime] | None:
        """The moments (UTC) at which a day of work opens and is over; None where it is closed or its hours are not known."""
        service = self.service(day)
        return service and (service[0], self.begins(day + DAY))

    def begun(self, day: date) -> list[Week]:
        """The weeks that were set for a day, in order: the last one counts."""
        return sorted((week for week in self.weeks if week.since <= day), key=lambda week: week.since)

    def _week(self, day: date) -> Week | None:
        begun = self.begun(day)
        return begun[-1] if begun else None

    def _why_closed(self, day: date) -> str:
        if self.closed:
            return "the site is closed"
        if closure := next((c for c in self.closures if c.first <= day <= c.last), None):
            return closure.why
        if holiday := self.holidays.get(day):
            return holiday
        week = self._week(day)
        return f"closed on {WEEKDAYS[day.weekday()]}" if week and week.hours[day.weekday()] is None else ""


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


class PublicHolidays(Mapping[date, str]):
    """The public holidays of a country or a part of it, of every year that is asked about. Many threads may share one."""

    def __init__(self, country: str, subdivision: str):
        self._of = country, subdivision

    def __getitem__(self, day: date) -> str:
        return _of_year(*self._of, day.year)[day]

    def __iter__(self):
        raise TypeError("Public holidays have no end. Ask about one day.")

    def __len__(self):
        raise TypeError("Public holidays have no end. Ask about one day.")

    def __bool__(self):
        return True


@lru_cache(maxsize=1024)
def _of_year(country: str, subdivision: str, year: int) -> Mapping[date, str]:
    return dict(country_holidays(country, subdiv=subdivision or None, years=year, expand=False))


@lru_cache(maxsize=256)
def public_holidays(country: str, subdivision: str = "") -> Mapping[date, str]:
    """The public holidays of a country or a part of it (ISO 3166 codes), year by year as they are asked for.

    Raises ValueError for a code that is not known.
    """
    parts = list_supported_countries().get(country)
    if parts is None:
        raise ValueError(f"No public holidays are known for the country “{country}”. Give a code such as IE or NZ.")
    if subdivision and subdivision not in parts:
        raise ValueError(f"“{subdivision}” is no part of {country} whose holidays are known. Leave it empty, or give "
                         f"one of {', '.join(parts) or 'none'}.")  # fmt: skip
    return PublicHolidays(country, subdivision)
