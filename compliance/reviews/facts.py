"""The records that belong to a day of a site: how many there are, and who made them.

Records are never changed and never taken away, so a day of which there are as many as before is the day that was read. They
belong to the day on which something was done or due, whenever they were entered: a late entry, a void, what was done about a
deviation, a decision in quarantine and an excuse each make one more.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import connection

from compliance.checks.models import Check, CheckVoid
from compliance.probes.models import Event, EventVoid, Placement
from compliance.quarantine.models import Decision
from compliance.readings.models import CorrectiveAction, Deviation, Reading, ReadingVoid
from compliance.reminders.models import Excuse, ExcuseVoid, Reminder

BATCH = 500  # days in one statement


@dataclass(frozen=True, slots=True)
class SiteDay:
    """A day of a site by the site's clock, in UTC; its end is outside."""

    site_id: int
    day: date
    starts: datetime
    ends: datetime


@dataclass(frozen=True, slots=True)
class FactsOfDay:
    """`asked`: whether anything was due."""

    count: int = 0
    asked: bool = False

    def __bool__(self) -> bool:
        return self.count > 0 or self.asked


def _table(model) -> str:
    return model._meta.db_table


def _on(column: str) -> str:
    return f"{column} >= d.starts AND {column} < d.ends"


def _here(model, time: str, joins: str = "") -> str:
    return f"{_table(model)} f {joins} WHERE f.site_id = d.site AND {_on(f'f.{time}')}"


def _voids(model, fact: str = "f") -> str:
    return f"JOIN {_table(model)} v ON v.voids_id = {fact}.id"


_ACTED = f"JOIN {_table(Deviation)} n ON n.reading_id = f.id JOIN {_table(CorrectiveAction)} v ON v.deviation_id = n.id"
_EXCUSED = f"JOIN {_table(Excuse)} e ON e.reminder_id = f.id"
# Of the probes that were at the site then.
_THERE = f"""p.site_id = d.site AND f.at >= p.starts_at AND NOT EXISTS (SELECT 1 FROM {_table(Placement)} q
  WHERE q.probe_id = f.probe_id AND q.starts_at <= f.at AND (q.starts_at > p.starts_at OR (q.starts_at = p.starts_at
  AND q.id > p.id)))"""


def _event(joins: str = "") -> str:
    return f"{_table(Placement)} p JOIN {_table(Event)} f ON f.probe_id = p.probe_id {joins} WHERE {_on('f.at')} AND {_THERE}"


# What it is called, FROM … WHERE of a day `d`, and who made it.
KINDS = (
    ("readings", _here(Reading, "taken_at"), ("f.recorded_by_id", "f.taken_by_id")),
    ("corrections of readings", _here(Reading, "taken_at", _voids(ReadingVoid)), ("v.recorded_by_id",)),
    ("corrective actions", _here(Reading, "taken_at", _ACTED), ("v.recorded_by_id", "v.decided_by_id")),
    (
        "decisions in quarantine",
        _here(Reading, "taken_at", f"JOIN {_table(Decision)} v ON v.reading_id = f.id"),
        ("v.recorded_by_id", "v.decided_by_id"),
    ),
    ("checks", _here(Check, "checked_at"), ("f.recorded_by_id", "f.checked_by_id")),
    ("corrections of checks", _here(Check, "checked_at", _voids(CheckVoid)), ("v.recorded_by_id",)),
    ("excuses", _here(Reminder, "due_at", _EXCUSED), ("e.recorded_by_id",)),
    (
        "excuses struck out",
        _here(Reminder, "due_at", f"{_EXCUSED} {_voids(ExcuseVoid, 'e')}"),
        ("v.recorded_by_id",),
    ),
    ("entries about probes", _event(), ("f.recorded_by_id",)),
    ("corrections of those", _event(_voids(EventVoid)), ("v.recorded_by_id",)),
)
_COUNT = " + ".join(f"(SELECT count(*) FROM {those})" for _, those, _ in KINDS)
_ASKED = f"EXISTS (SELECT 1 FROM {_here(Reminder, 'due_at')} AND f.cancelled_at IS NULL)"
_RECORDED = " OR ".join(
    f"EXISTS (SELECT 1 FROM {those})" for those in (_here(Reading, "taken_at"), _here(Check, "checked_at"))
)
_MAKERS = " UNION ".join(
    f"SELECT '{kind}', {who} FROM d CROSS JOIN {those}" for kind, those, people in KINDS for who in people
)


def facts_of(days: Sequence[SiteDay]) -> dict[tuple[int, date], FactsOfDay]:
    """What there is of each of these days. One statement for five hundred."""
    sql = f"SELECT d.site, d.day, {_COUNT}, CASE WHEN {_ASKED} THEN 1 ELSE 0 END FROM d"
    return {
        (site, date.fromordinal(day)): FactsOfDay(count, bool(asked)) for site, day, count, asked in _rows(sql, days)
    }


def days_with_records(days: Sequence[SiteDay]) -> Iterator[tuple[int, date]]:
    """Those of these days on which something was read, checked or due; it counts nothing, so many sites can be asked of."""
    sql = f"SELECT d.site, d.day FROM d WHERE {_RECORDED} OR {_ASKED}"
    return ((site, date.fromordinal(day)) for site, day in _rows(sql, days))


def makers_of(days: Sequence[SiteDay]) -> dict[int, list[str]]:
    """Who made records of these days, by the person's key, and what."""
    found = defaultdict(set)
    for kind, person in _rows(_MAKERS, days):
        found[person].add(kind)
    return {person: [kind for kind, *_ in KINDS if kind in kinds] for person, kinds in found.items()}


def _rows(sql: str, days: Sequence[SiteDay]) -> Iterator[tuple]:
    as_kept = connection.ops.adapt_datetimefield_value
    for start in range(0, len(days), BATCH):
        some = days[start : start + BATCH]
        given = [v for d in some for v in (d.site_id, d.day.toordinal(), as_kept(d.starts), as_kept(d.ends))]
        values = ", ".join(["(%s, %s, %s, %s)"] * len(some))
        with connection.cursor() as cursor:
            cursor.execute(f"WITH d(site, day, starts, ends) AS (VALUES {values}) {sql}", given)
            yield from cursor.fetchall()
