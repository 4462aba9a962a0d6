"""What was asked for and what was done: reads that pages and records share. The queries do not grow with the rows."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from functools import cache
from itertools import islice

from django.db.models import (
    Case,
    DateTimeField,
    Exists,
    Expression,
    F,
    OuterRef,
    Q,
    QuerySet,
    When,
    prefetch_related_objects,
)

from compliance.checks.fitness import Fitness
from compliance.checks.models import Check, ProbeState
from compliance.plans.calendar import local_day
from compliance.plans.round_rows import LONGEST
from compliance.readings.models import Reading
from shared.append_only import Fact
from shared.key_lists import among
from shared.prepared import Prepared, Slot, keys
from sites.models import Site

from .models import Excuse, Reminder
from .status import DOUBTED, OPEN, Status, cancelled_too_late, still_open, with_status

BATCH = 500


@dataclass(frozen=True, slots=True)
class Told:
    """A reminder with what cleared it and the excuse that stands, each None where there is none.

    `doubted`: a reading that did not clear it, for its probe was not to be relied on.
    """

    reminder: Reminder
    status: Status
    check: Check | None
    reading: Reading | None
    excuse: Excuse | None
    doubted: Reading | None = None

    @property
    def excused_late(self) -> bool:
        """An excuse does not make what was missed before it any less missed."""
        excused = self.status == Status.EXCUSED and self.excuse is not None
        return excused and self.excuse.recorded_at >= self.reminder.closes_at

    @property
    def done_late(self) -> bool:
        """Done when its grace was over."""
        made_at = self.check.checked_at if self.check else self.reading.taken_at if self.reading else None
        return self.status == Status.CLEARED and made_at is not None and made_at >= self.reminder.grace_at

    @property
    def unfit(self) -> bool:
        """Of old: done with a probe that was not OK to use, as known when the reading was entered."""
        reading = self.reading
        return reading is not None and reading.vouched is None and reading.fitness not in ("", Fitness.OK)

    @property
    def not_owed(self) -> bool:
        """Not done in time, and only later found not to be owed."""
        return self.status == Status.CANCELLED and cancelled_too_late(self.reminder)

    @property
    def title(self) -> str:
        probe = self.reminder.probe
        return str(probe.particulars_at(self.reminder.due_at)) if probe else self.reminder.what_then


def asked_for(site: Site, start: datetime, end: datetime, now: datetime) -> QuerySet[Reminder]:
    """What fell due at a site from `start` up to `end`, with its status; and what was done before its hour."""
    asked = with_status(Reminder.objects.filter(site=site, due_at__gte=start, due_at__lt=end), now)
    return asked.exclude(status=Status.UPCOMING) if end > now else asked


def tell(reminders: QuerySet[Reminder]) -> Iterator[Told]:
    """Reminders that have their status, with what cleared or excused them: five queries for five hundred."""
    return told_of(to_be_told(reminders).iterator(chunk_size=BATCH))


def to_be_told(reminders: QuerySet[Reminder]) -> QuerySet[Reminder]:
    rows = reminders.select_related("probe__state", "limit", "appliance", "site")
    return rows.annotate(doubted_id=Case(When(reading_id=None, then=DOUBTED)))


def told_of(rows: Iterator[Reminder]) -> Iterator[Told]:
    while some := list(islice(rows, BATCH)):
        yield from _told(some)


def _moment(name: str) -> Slot:
    return Slot(name, DateTimeField())


NOW = _moment("now")
_EXCUSES = Prepared(
    lambda: Excuse.objects.live().filter(reminder__in=keys()).select_related("recorded_by").order_by("pk")
)
_CHECKS = Prepared(lambda: Check.objects.filter(pk__in=keys()).select_related("checked_by"))
_READINGS = Prepared(lambda: Reading.objects.filter(pk__in=keys()).select_related("taken_by"))


def _told(reminders: list[Reminder]) -> Iterator[Told]:
    # The last that stands counts.
    excuses = {excuse.reminder_id: excuse for excuse in _EXCUSES.objects(each.pk for each in reminders)}
    checks = _known(_CHECKS, {r.check_id for r in reminders if r.check_id})
    readings = _known(_READINGS, {pk for each in reminders for pk in (each.reading_id, each.doubted_id) if pk})
    by = [excuse.recorded_by for excuse in excuses.values()]
    by += [*(check.checked_by for check in checks.values()), *(reading.taken_by for reading in readings.values())]
    prefetch_related_objects(by, "names")
    for each in reminders:
        done = checks.get(each.check_id), readings.get(each.reading_id)
        yield Told(each, Status(each.status), *done, excuses.get(each.pk), readings.get(each.doubted_id))


def _known(asked: Prepared, pks: set[int]) -> dict[int, Fact]:
    return {each.pk: each for each in asked.objects(pks)} if pks else {}


def _rounds(**chosen: Expression) -> QuerySet[Reminder]:
    asked = Reminder.objects.filter(site=Slot("site"), limit__isnull=False, **chosen)
    return with_status(asked, NOW).select_related("limit", "appliance", "round").order_by("due_at", "pk")


_OPEN_ROUNDS = Prepared(
    lambda: _rounds(closes_at__gt=NOW, due_at__gt=_moment("since"), due_at__lte=NOW).filter(status__in=OPEN)
)


@cache
def _rounds_ahead(*names: str) -> Prepared:
    more = {name: _moment(name) for name in names}
    return Prepared(lambda: _rounds(due_at__gt=NOW, **more).filter(status=Status.UPCOMING))


def open_rounds(site: Site, now: datetime) -> list[Reminder]:
    """The readings that are asked for now at a site and not taken yet, the longest due first."""
    return _OPEN_ROUNDS.objects(site=site.pk, now=now, since=now - LONGEST)


def rounds_to_come(site: Site, now: datetime, **more: datetime) -> list[Reminder]:
    """The readings that fall due after now at a site, as far as they are worked out, and have not been taken early."""
    return _rounds_ahead(*more).objects(site=site.pk, now=now, **more)


def rounds_to_take(site: Site, now: datetime) -> list[Reminder]:
    """The readings that can be taken now at a site: those that are asked for, and those that may be taken early. Two queries."""
    return [*open_rounds(site, now), *rounds_to_come(site, now, opens_at__lt=now, due_at__lt=now + LONGEST)]


def open_checks(probe_ids: Iterable[int], now: datetime) -> list[Reminder]:
    """All checks of these probes that are asked for now and not excused, the longest due first. One query."""
    asked = Reminder.objects.filter(probe__in=list(probe_ids), due_at__lte=now, closes_at__gt=now)
    return list(still_open(asked, now).order_by("due_at", "pk"))


def open_of_days(sites: Iterable[Site], first: date, last: date, now: datetime) -> list[Reminder]:
    """What has fallen due at these sites on the days from first to last, and is open. One query."""
    due = {"due_at__gte": datetime.combine(first, time(), UTC) - LONGEST, "due_at__lte": now, "closes_at__gt": now}
    rows = still_open(Reminder.objects.filter(site__in=list(sites), **due), now)
    days = ((row, {row.day, local_day(row.due_at, row.site.zone)} - {None}) for row in rows.select_related("site"))
    return [row for row, named in days if any(first <= day <= last for day in named)]


def left_open(site: Site, before: datetime, now: datetime) -> QuerySet[Reminder]:
    """What fell due at a site before a moment and is open still, with its status. It grows with what is due, not with history."""
    since = F("probe__state__due_at")
    asked = Reminder.objects.filter(
        site=site, probe__site=site, due_at__gte=since, due_at__lt=before, closes_at__gt=now
    )
    rounds = [each.pk for each in open_rounds(site, now) if each.due_at < before]
    return still_open(Reminder.objects.filter(pk__in=[*asked.values_list("pk", flat=True), *rounds]), now)


@dataclass(frozen=True, slots=True)
class Asked:
    """What a probe is asked for: the first thing that no excuse covers. `away`: a check away from zero.

    One that was never checked, and of which nothing is kept yet, is due without a moment.
    """

    due_at: datetime | None
    grace_at: datetime | None
    because: str
    away: bool = False


def asked_checks(probe_ids: Iterable[int], now: datetime) -> dict[int, Asked | None]:
    """What each of these probes is due for by now; None where all of it is excused. Three queries for any number."""
    states = ProbeState.objects.filter(probe__in=among(probe_ids), due_at__lte=now)
    return asked_of(states.only("due_at", "grace_at", "due_because", "point"), now)


def asked_of(states: Iterable[ProbeState], now: datetime) -> dict[int, Asked | None]:
    """The same of states that are known, those included that will be due. Two queries.

    What came after an excuse is not covered by it, and is due since it came.
    """
    states = list(states)
    found = {each.pk: Asked(each.due_at, each.grace_at, each.due_because, each.away) for each in states if each.due_at}
    excused, left = _excused(_asked_since(states, now), now)
    found.update({pk: Asked(row.due_at, row.grace_at, row.because, row.away) for pk, row in left.items()})
    return found | dict.fromkeys(excused)


def asked_next(probe_ids: Iterable[int], now: datetime, until: datetime) -> dict[int, Asked]:
    """What each of these probes falls due for next, after now and before `until`. No query for none."""
    if not (pks := list(probe_ids)):
        return {}
    rows = with_status(Reminder.objects.filter(probe__in=pks, due_at__gt=now, due_at__lt=until), now)
    found = rows.filter(status=Status.UPCOMING).order_by("-due_at", "-pk")
    return {row.probe_id: Asked(row.due_at, row.grace_at, row.because, row.away) for row in found}


def excuses_of(states: Iterable[ProbeState], now: datetime) -> tuple[set[int], set[tuple[int, datetime]]]:
    """The probes of these states for which all that is asked for now is excused; and the probe and due time of each excused check
    since what they are due for, also where it is over."""
    asked = _asked_since(states, now)
    return _excused(asked, now)[0], {(row.probe_id, row.due_at) for row in asked if row.status == Status.EXCUSED}


def _asked_since(states: Iterable[ProbeState], now: datetime) -> list[Reminder]:
    """What was excused of these since what each is due for, also where it is over; and of probes of which anything was, what is
    open. No query where none is due, and one where nothing was excused."""
    since = {state.pk: state.due_at for state in states if state.due_at and state.due_at <= now}
    if not since:
        return []
    # The earliest is given as a figure, or PostgreSQL reads all that was ever asked for of these probes.
    due = {"due_at__gte": min(since.values()), "due_at__lte": now}
    excuses = Excuse.objects.live().filter(**{f"reminder__{name}": value for name, value in due.items()})
    excused = excuses.filter(reminder__probe__in=among(since)).values_list("reminder__probe", "reminder__due_at")
    some = {probe for probe, due_at in excused.order_by() if due_at >= since[probe]}
    if not some:
        return []
    asked = Reminder.objects.filter(probe__in=among(some), **due)
    standing = Exists(Excuse.objects.live().filter(reminder=OuterRef("pk")))
    rows = with_status(asked.filter(Q(closes_at__gt=now) | standing), now).filter(status__in=(*OPEN, Status.EXCUSED))
    return [row for row in rows.order_by("due_at", "pk") if row.due_at >= since[row.probe_id]]


def _excused(asked: Iterable[Reminder], now: datetime) -> tuple[set[int], dict[int, Reminder]]:
    """The probes of which all is excused that is open; and of those of which something else is, what is open first."""
    first = {row.probe_id: row for row in reversed(asked) if row.status in OPEN}
    excused = [row for row in asked if row.status == Status.EXCUSED]
    some, open_still = ({row.probe_id for row in rows} for rows in (excused, [e for e in excused if e.closes_at > now]))
    return open_still - first.keys(), {pk: row for pk, row in first.items() if pk in some}
