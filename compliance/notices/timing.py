"""When people are told: no framework, no database, no clock of its own (`now` is an argument).

A failed check, or that a probe is gone, is told at once, in quiet hours too, because food was judged by that probe. All other
mail waits until quiet hours are over.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from compliance.plans.calendar import DAY, instant, local_day

from .recipients import AT_ONCE, Kind

MORNING = time(6)
BEFORE_THE_FIRST = timedelta(hours=1)
SUPERVISOR_WAITS = timedelta(hours=2)
DIGEST_AT = time(7)
WEEK = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class Quiet:
    """Local times between which no mail is sent; over midnight where it ends before it starts, none where both are equal."""

    starts: time
    ends: time


USUAL_QUIET = Quiet(time(21), time(6))


def quiet_until(now: datetime, zone: ZoneInfo, quiet: Quiet) -> datetime | None:
    """The moment (UTC) at which quiet hours end that are on now at the site; None outside them."""
    local = now.astimezone(zone)
    at, today = local.time(), local.date()
    if quiet.starts == quiet.ends:
        return None
    if quiet.starts < quiet.ends:
        return _ahead(today, quiet.ends, zone, now) if quiet.starts <= at < quiet.ends else None
    if at >= quiet.starts:
        return _ahead(today + DAY, quiet.ends, zone, now)
    return _ahead(today, quiet.ends, zone, now) if at < quiet.ends else None


def _ahead(day: date, at: time, zone: ZoneInfo, now: datetime) -> datetime | None:
    """That time of day; where the clocks show it twice, the second if the first is over."""
    second = datetime.combine(day, at, zone).replace(fold=1).astimezone(UTC)
    return next((moment for moment in (instant(day, at, zone), second) if moment > now), None)


def not_before(kind: Kind, now: datetime, zones: Iterable[ZoneInfo], quiet: Quiet) -> datetime | None:
    """When the mail about these places may leave; None: at once. Of several, as soon as it is not quiet at one of them."""
    ends = [] if kind in AT_ONCE else [quiet_until(now, zone, quiet) for zone in zones]
    return None if not ends or None in ends else min(ends)


def end_of_day(now: datetime, zone: ZoneInfo) -> datetime:
    """The next midnight (UTC) at the site."""
    return instant(local_day(now, zone) + DAY, time(0), zone)


def dawned(since: datetime, now: datetime, zone: ZoneInfo) -> bool:
    """Whether it became six o'clock in that time."""
    return since < instant(local_day(now, zone), MORNING, zone) <= now


def morning_has_come(dues: Iterable[datetime], now: datetime, zone: ZoneInfo) -> bool:
    """From six o'clock on at the site, or from an hour before the first check of the day where that is earlier."""
    today = local_day(now, zone)
    of_today = [due - BEFORE_THE_FIRST for due in dues if local_day(due, zone) == today]
    return now >= min([instant(today, MORNING, zone), *of_today])


def worth_telling(dues: Iterable[datetime], now: datetime, zone: ZoneInfo, is_open: bool) -> bool:
    """Whether a site is told in the morning: something falls due today, or is overdue and the site is open."""
    dues, midnight = list(dues), instant(local_day(now, zone), time(0), zone)
    return any(midnight <= due < end_of_day(now, zone) for due in dues) or (is_open and any(d < midnight for d in dues))


def escalated_at(due_at: datetime, grace_at: datetime, closes_at: datetime) -> datetime:
    """When the area supervisors are told, the site managers having been told when the grace was over: as long again later and
    at least two hours, but at the latest when half of the time after the grace is left to do it."""
    return min(grace_at + max(grace_at - due_at, SUPERVISOR_WAITS), grace_at + (closes_at - grace_at) / 2)


def digest_day(now: datetime, zone: ZoneInfo) -> date:
    """The Monday whose digest is the last that was due: from seven in the morning on."""
    local = now.astimezone(zone)
    monday = local.date() - DAY * local.weekday()
    return monday if now >= instant(monday, DIGEST_AT, zone) else monday - WEEK


def digest_span(now: datetime, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """The seven local days (UTC, the end not included) that the last digest tells of."""
    return week_span(digest_day(now, zone) - WEEK, zone)


def week_span(first: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """The seven local days (UTC, the end not included) from `first` on."""
    return instant(first, time(0), zone), instant(first + WEEK, time(0), zone)


def next_digest_at(now: datetime, zone: ZoneInfo) -> datetime:
    return instant(digest_day(now, zone) + WEEK, DIGEST_AT, zone)
