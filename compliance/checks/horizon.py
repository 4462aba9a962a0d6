"""Lays rows further ahead each night. Rows are only appended, and no history is read of a probe that goes on as before."""

from collections import namedtuple
from collections.abc import Sequence
from datetime import datetime, timedelta
from functools import partial
from itertools import starmap
from typing import Any

from django.db import connection
from django.db.models import DateTimeField, OuterRef, QuerySet, Subquery

from compliance.plans.calendar import Calendar
from compliance.plans.demands import OUT_OF_TOLERANCE
from compliance.plans.facts import site_facts
from compliance.plans.models import Point, Reminder
from compliance.plans.obligation_lines import OPEN_END
from compliance.plans.pace import Pace, went_well
from compliance.plans.queries import PlanBook, Reach
from compliance.plans.schedule import TICK, Due, Plan, Stretch, due_times, stretches
from compliance.plans.store import put
from compliance.probes.models import Probe
from shared.prepared import Prepared, Slot, keys
from sites.models import Site

from .check_rows import AHEAD, derive_with_states

PROBES, FIRST = 500, 50  # at most looked through and written at a time; written at the first
WANTED = ("probe_id", "because")
LAST = ("pk", "site_id", "day", "due_at", "grace_at", "closes_at", "cancelled_at", "recorded_at", *WANTED)
Row = Any  # a row of `LAST` or of `WANTED`, by name
COLUMNS = (
    "probe_id",
    "site_id",
    "point",
    "day",
    "due_at",
    "opens_at",
    "grace_at",
    "closes_at",
    "late_at",
    "because",
    "recorded_at",
    "cancelled_because",
)


def extend(now: datetime) -> bool:
    """Lay rows up to 40 days ahead, and always the next one; gives whether all went well. Run again it writes none."""
    well, last, pace = True, 0, Pace(FIRST, PROBES)
    while probes := list(Probe.objects.filter(pk__gt=last).order_by("pk").values_list("pk", flat=True)[:PROBES]):
        last, (lasts, _) = probes[-1], _last_rows(_PROBES, probes, now, WANTED)
        for some in pace.in_turn(sorted(row.probe_id for row in lasts)):
            words = f"Rows ahead of the probes from {some[0]} to {some[-1]} are left for the next time."
            well = went_well(pace.transaction()(partial(_extend_some, some, now)), words) and well
    return well


def _with_last(probes: QuerySet[Probe]) -> QuerySet:
    rows = Reminder.objects.filter(probe=OuterRef("pk"), point=Point.ZERO).order_by("-due_at")
    return probes.annotate(last=Subquery(rows.values("pk")[:1])).values_list(
        "pk", "business", "site", "sensor", "withdrawn", "site__closed", "last"
    )


def _ending(columns: tuple[str, ...]) -> QuerySet:
    return Reminder.objects.filter(pk__in=keys(), due_at__lte=Slot("until", DateTimeField())).values_list(*columns)


_PROBES = Prepared(lambda: _with_last(Probe.objects.filter(pk__in=keys())))
_HELD = Prepared(
    lambda: _with_last(Probe.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=keys()).order_by("pk"))
)
_ENDING = {columns: Prepared(partial(_ending, columns)) for columns in (WANTED, LAST)}
_NAMED = {columns: namedtuple("_Row", columns) for columns in _ENDING}


def _last_rows(
    probes: Prepared, probe_ids: Sequence[int], now: datetime, columns: tuple[str, ...]
) -> tuple[list[Row], dict[int, Reach]]:
    """The last row of each of these probes that wants more after it, and what each probe goes by."""
    found = probes.rows(probe_ids)
    in_use = {last: Reach(*reach, pk) for pk, *reach, withdrawn, closed, last in found if not (withdrawn or closed)}
    lasts = starmap(_NAMED[columns], _ENDING[columns].rows(filter(None, in_use), until=now + AHEAD))
    return [row for row in lasts if not row.because.startswith(OUT_OF_TOLERANCE)], in_use


def _extend_some(probe_ids: Sequence[int], now: datetime) -> None:
    """Of a few probes, which are held meanwhile."""
    ends, in_use = _last_rows(_HELD, probe_ids, now, LAST)
    if ends:
        _extend(ends, in_use, now)


def _extend(ends: list[Row], reaches: dict[int, Reach], now: datetime) -> None:
    known, rows, others = _SharedDues(ends, now), [], []
    for row in ends:
        following = known.after(row, reaches[row.pk])
        if following is None:
            others.append(row.probe_id)
        else:
            rows += [(row.probe_id, row.site_id, *each) for each in following]
    put(rows, COLUMNS)
    if others:
        derive_with_states(Probe.objects.filter(pk__in=others), now, "")


class _SharedDues:
    """What is worked out once for all probes that go by the same plans and calendar, and whose last row is of the same day."""

    def __init__(self, ends: list[Row], now: datetime):
        site_ids = {row.site_id for row in ends}
        self.now, self.until = now, now + AHEAD
        self._sites = site_facts(Site.objects.select_related("area").filter(pk__in=site_ids))
        self._book = PlanBook.at_sites(site_ids, [row.probe_id for row in ends])
        self._works: dict[tuple, tuple[Calendar, list[Stretch]]] = {}
        self._rows: dict[tuple, list[tuple] | None] = {}

    def after(self, last: Row, reach: Reach) -> list[tuple] | None:
        """The rows after the last of a probe, as the table takes them; None where its history has to be looked at."""
        if last.day is None or last.cancelled_at or last.recorded_at is None:
            return None
        scope = reach.site_id, reach.sensor, self._book.is_own(reach.probe_id) and reach.probe_id
        key = scope, last.day, last.due_at, last.grace_at, last.closes_at
        if key not in self._rows:
            calendar, told = self._works_of(scope, reach)
            # Where another plan begins after it, the days of that count from the last check.
            later = told[-1].since > last.day
            self._rows[key] = None if later else self._follow(last, told[-1].plan, calendar)
        return self._rows[key]

    def _works_of(self, scope: tuple, reach: Reach) -> tuple[Calendar, list[Stretch]]:
        if scope not in self._works:
            calendar = self._sites[reach.site_id].known_at(self.now)
            self._works[scope] = calendar, stretches(self._book.candidates(reach))
        return self._works[scope]

    def _follow(self, last: Row, plan: Plan, calendar: Calendar) -> list[tuple] | None:
        """None too where its end was not foreseen, or the grace lasts until the next: then one row gives way to another."""
        grace, rows = plan.grace, []
        opens, over, waits = last.closes_at, last.grace_at, None
        for due in due_times(plan, calendar, last.day, last.due_at):
            if over > due.at or (waits is None and due.at - TICK != opens):
                return None
            if waits:
                rows.append(self._row(waits, due.at - TICK, grace))
                if waits.at > self.until:
                    return rows
            waits, over = due, due.at + grace
        return [*rows, self._row(waits, OPEN_END, grace)] if waits else rows

    def _row(self, due: Due, closes: datetime, grace: timedelta) -> tuple:
        keep = connection.ops.adapt_datetimefield_value
        at, over = keep(due.at), keep(due.at + grace)
        return (
            Point.ZERO.value,
            connection.ops.adapt_datefield_value(due.day),
            at,
            keep(due.at - TICK),
            over,
            keep(closes),
            over,
            due.because[:200],
            keep(self.now),
            "",
        )
