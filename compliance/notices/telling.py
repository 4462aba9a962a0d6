"""Who is told what, and when: no framework, no database, no clock of its own (`now` is an argument).

Decided here: a failed check is told at once, in quiet hours too, because food is being judged by that probe. All other mail
waits until quiet hours are over. What a role requires nobody can refuse; a page shows it even where no mail is wanted.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from compliance.plans.calendar import DAY, instant, local_day

MANAGER, SUPERVISOR = 30, 40  # as in sites.models.Role
MORNING = time(6)
BEFORE_THE_FIRST = timedelta(hours=1)
SUPERVISOR_WAITS = timedelta(hours=2)
DIGEST_AT = time(7)
WEEK = timedelta(days=7)


class Kind(StrEnum):
    DUE = "due"
    OVERDUE = "overdue"
    UNANSWERED = "unanswered"
    READING = "reading"
    NO_READING = "no_reading"
    FAILED = "failed"
    DIGEST = "digest"
    PASSWORD = "password"  # to its owner alone, whatever their roles and choices


@dataclass(frozen=True, slots=True)
class Wish:
    """How somebody wants to be told of one kind of thing."""

    mail: bool
    page: bool

    def __or__(self, other: "Wish") -> "Wish":
        return Wish(self.mail or other.mail, self.page or other.page)


@dataclass(frozen=True, slots=True)
class Rule:
    """What a role is told of a kind unless its holder chooses otherwise, and what of that cannot be refused."""

    usual: Wish
    required: Wish


BOTH, PAGE, FREE = Wish(True, True), Wish(False, True), Wish(False, False)
RULES: Mapping[tuple[int, Kind], Rule] = {
    (MANAGER, Kind.DUE): Rule(BOTH, FREE),
    (MANAGER, Kind.OVERDUE): Rule(BOTH, PAGE),
    (MANAGER, Kind.READING): Rule(BOTH, PAGE),
    (MANAGER, Kind.FAILED): Rule(BOTH, BOTH),
    (SUPERVISOR, Kind.UNANSWERED): Rule(BOTH, PAGE),
    (SUPERVISOR, Kind.NO_READING): Rule(BOTH, PAGE),
    (SUPERVISOR, Kind.FAILED): Rule(BOTH, BOTH),
    (SUPERVISOR, Kind.DIGEST): Rule(BOTH, FREE),
}
OF_MANAGERS = {kind for role, kind in RULES if role == MANAGER} - {kind for role, kind in RULES if role == SUPERVISOR}


@dataclass(frozen=True, slots=True)
class Quiet:
    """Local times between which no mail is sent; over midnight where it ends before it starts, none where both are equal."""

    starts: time
    ends: time


USUAL_QUIET = Quiet(time(21), time(6))


@dataclass(frozen=True, slots=True)
class Told:
    """One person and how they are told."""

    person: int
    wish: Wish


def rule_for(kind: Kind, roles: Iterable[int]) -> Rule | None:
    """The rule of somebody who holds these roles, each adding to it; None where none of them is told of this kind."""
    found = [RULES[role, kind] for role in roles if (role, kind) in RULES]
    if not found:
        return None
    usual, required = found[0].usual, found[0].required
    for rule in found[1:]:
        usual, required = usual | rule.usual, required | rule.required
    return Rule(usual, required)


def granted(rule: Rule, chosen: Wish | None) -> Wish:
    """What somebody chose, together with what their roles require."""
    return (chosen or rule.usual) | rule.required


def audience(kind: Kind, roles: Mapping[int, Iterable[int]], chosen: Mapping[tuple[int, Kind], Wish]) -> list[Told]:
    """Who of the people at a place is told, by the roles that each holds there.

    Where there is no site manager, the supervisors are told in their stead, with what a manager may refuse.
    """
    held = {person: set(theirs) for person, theirs in roles.items()}
    alone = kind in OF_MANAGERS and not any(MANAGER in theirs for theirs in held.values())
    found = []
    for person, theirs in sorted(held.items()):
        rule = rule_for(kind, theirs | {MANAGER} if alone and SUPERVISOR in theirs else theirs)
        wish = granted(rule, chosen.get((person, kind))) if rule else FREE
        if wish.mail or wish.page:
            found.append(Told(person, wish))
    return found


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


def not_before(kind: Kind, now: datetime, zone: ZoneInfo, quiet: Quiet) -> datetime | None:
    """When the mail may leave; None: at once."""
    return None if kind == Kind.FAILED else quiet_until(now, zone, quiet)


def end_of_day(now: datetime, zone: ZoneInfo) -> datetime:
    """The next midnight (UTC) at the site."""
    return instant(local_day(now, zone) + DAY, time(0), zone)


def morning_has_come(now: datetime, zone: ZoneInfo, first_due: datetime | None) -> bool:
    """From six o'clock on at the site, or from an hour before the first check of the day where that is earlier."""
    begins = instant(local_day(now, zone), MORNING, zone)
    if first_due is not None and instant(local_day(now, zone), time(0), zone) <= first_due:
        begins = min(begins, first_due - BEFORE_THE_FIRST)
    return now >= begins


def worth_telling(dues: Iterable[datetime], now: datetime, zone: ZoneInfo, is_open: bool) -> bool:
    """Whether a site is told in the morning: something falls due today, or is overdue and the site is open."""
    dues, midnight = list(dues), instant(local_day(now, zone), time(0), zone)
    return any(midnight <= due < end_of_day(now, zone) for due in dues) or (is_open and any(d < midnight for d in dues))


def overdue_at(due_at: datetime, grace: timedelta) -> datetime:
    """When the site managers are told again."""
    return due_at + grace


def unanswered_at(due_at: datetime, grace: timedelta) -> datetime:
    """When the area supervisors are told: as long again after the managers, and at least two hours."""
    return due_at + grace + max(grace, SUPERVISOR_WAITS)


def told_on_at(due_at: datetime, grace_at: datetime, closes_at: datetime) -> datetime:
    """When the area supervisors are told: as above, but at the latest when half of the time after the grace is left to do it."""
    return min(unanswered_at(due_at, grace_at - due_at), grace_at + (closes_at - grace_at) / 2)


def digest_day(now: datetime, zone: ZoneInfo) -> date:
    """The Monday whose digest is the last that was due: from seven in the morning on."""
    local = now.astimezone(zone)
    monday = local.date() - DAY * local.weekday()
    return monday if now >= instant(monday, DIGEST_AT, zone) else monday - WEEK


def digest_span(now: datetime, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """The seven local days (UTC, the end not included) that the last digest tells of."""
    return week_span(digest_day(now, zone) - WEEK, zone)


def week_span(first: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """The seven local days from `first` on."""
    return instant(first, time(0), zone), instant(first + WEEK, time(0), zone)


def next_digest_at(now: datetime, zone: ZoneInfo) -> datetime:
    return instant(digest_day(now, zone) + WEEK, DIGEST_AT, zone)
