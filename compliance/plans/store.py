"""Stores what the folds conclude as reminders: only the difference is written, as for spans."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, fields
from datetime import date, datetime, timedelta
from operator import attrgetter

from django.db import connection, router
from django.db.models import QuerySet

from .models import Reminder

BATCH = 1000
# No transaction that writes rows takes longer, so none of them is passed over by who tells.
HELD_FOR = timedelta(minutes=5)
KEPT = (
    "site_id",
    "round_id",
    "day",
    "opens_at",
    "grace_at",
    "closes_at",
    "because",
    "cancelled_at",
    "cancelled_because",
)
ENDS = ("closes_at", "cancelled_at", "cancelled_because")
_kept, _ends = attrgetter(*KEPT), attrgetter(*ENDS)


@dataclass(slots=True)
class PlainReminder:
    """The values of a `Reminder`: many are compared, and few become a model to be written."""

    site_id: int
    point: str
    day: date | None
    due_at: datetime
    opens_at: datetime
    grace_at: datetime
    closes_at: datetime
    because: str
    cancelled_at: datetime | None = None
    cancelled_because: str = ""
    probe_id: int | None = None
    round_id: int | None = None
    limit_id: int | None = None
    appliance_id: int | None = None
    recorded_at: datetime | None = None
    late_at: datetime | None = None
    id: int | None = None

    def as_reminder(self) -> Reminder:
        return Reminder(**{name: getattr(self, name) for name in COLUMNS})


COLUMNS = tuple(each.name for each in fields(PlainReminder))  # its key last
CHANGING = f"ON CONFLICT (id) DO UPDATE SET {', '.join(f'{name} = excluded.{name}' for name in (*KEPT, 'late_at'))}"


@dataclass(slots=True)
class Difference:
    """What is to be written so that the stored rows become the wanted ones."""

    added: list[PlainReminder] = field(default_factory=list)
    changed: list[PlainReminder] = field(default_factory=list)
    unwanted: list[PlainReminder] = field(default_factory=list)

    def __bool__(self) -> bool:
        return bool(self.added or self.changed or self.unwanted)

    def __iadd__(self, other: "Difference") -> "Difference":
        self.added += other.added
        self.changed += other.changed
        self.unwanted += other.unwanted
        return self


def difference(
    stored: Iterable[PlainReminder],
    wanted: Iterable[PlainReminder],
    now: datetime,
    because: str,
) -> Difference:
    """Of the rows of one probe, or of one limit.

    A row that nothing asks for any more is deleted while it lies ahead, else cancelled with the reason.
    Rows of before rows lay ahead stand: nothing up to the last of them is derived anew, only its end follows what comes next.
    """
    stored = {_key(row): row for row in stored}
    wanted = {_key(row): row for row in wanted}
    found = Difference()
    _follow_standing(stored, wanted, now, found)
    for key, row in wanted.items():
        if (known := stored.get(key)) is None:
            row.recorded_at, row.late_at = now, late_at(row.due_at, row.grace_at, now)
            found.added.append(row)
        elif _take_over(row, known, now):
            found.changed.append(known)
    for key, row in stored.items():
        if key in wanted or row.recorded_at is None:
            continue
        if row.due_at > now:
            found.unwanted.append(row)
        elif row.cancelled_at is None:
            row.cancelled_at, row.cancelled_because = now, because[:300]
            found.changed.append(row)
    return found


def late_at(due_at: datetime, grace_at: datetime, recorded_at: datetime) -> datetime:
    """From when on people are told that it is late: its grace counts for them from when it was recorded, if that was later."""
    return grace_at if recorded_at <= due_at else recorded_at + max(grace_at - due_at, HELD_FOR)


def tell_again(reminders: QuerySet[Reminder], now: datetime) -> None:
    """Of what had been done or excused and is open again: it is told as late, although its grace ended before."""
    reminders.filter(due_at__lte=now, closes_at__gt=now, late_at__lte=now).update(late_at=now + HELD_FOR)


def write(found: Difference) -> None:
    """Write a difference; at most three statements a batch."""
    if found.unwanted:
        Reminder.objects.filter(pk__in=[row.id for row in found.unwanted])._raw_delete(router.db_for_write(Reminder))
    _put(found.changed, COLUMNS, CHANGING)
    _put(found.added, COLUMNS[:-1])


def _put(rows: Sequence[PlainReminder], columns: Sequence[str], ending: str = "") -> None:
    """As `bulk_create`, for which each would have to be a model."""
    values, marks = attrgetter(*columns), f"({', '.join(['%s'] * len(columns))})"
    keep, keep_day = connection.ops.adapt_datetimefield_value, connection.ops.adapt_datefield_value
    kept = [keep if name.endswith("_at") else keep_day if name == "day" else None for name in columns]
    for start in range(0, len(rows), BATCH):
        some = rows[start : start + BATCH]
        told = [
            adapt(value) if adapt else value for row in some for adapt, value in zip(kept, values(row), strict=True)
        ]
        into = f"INSERT INTO {Reminder._meta.db_table} ({', '.join(columns)}) VALUES {', '.join([marks] * len(some))}"
        with connection.cursor() as cursor:
            cursor.execute(f"{into} {ending}", told)


def _follow_standing(stored: dict, wanted: dict, now: datetime, found: Difference) -> None:
    for point in {row.point for row in stored.values() if row.recorded_at is None}:
        last = max(
            (row for row in stored.values() if row.recorded_at is None and row.point == point),
            key=lambda row: row.due_at,
        )
        same = wanted.get(_key(last))
        for key in [key for key, row in wanted.items() if row.point == point and row.due_at <= last.due_at]:
            del wanted[key]
        following = min(
            (row for row in wanted.values() if row.point == point), key=lambda row: row.opens_at, default=None
        )
        if last.closes_at > now and _end(last, same, following, now):
            found.changed.append(last)
        if following:
            following.opens_at = max(following.opens_at, last.closes_at)


def _end(last: PlainReminder, same: PlainReminder | None, following: PlainReminder | None, now: datetime) -> bool:
    """The open row that stands ends where the fold says, a reading no later than it said; gives whether that moved."""
    before, until = _ends(last), last.closes_at
    if same:
        _take_over(same, last, now, ENDS)
    elif following:
        last.closes_at = max(following.opens_at, now)
    if last.round_id:
        last.closes_at = max(min(last.closes_at, until), now)
    return _ends(last) != before


def _take_over(row: PlainReminder, known: PlainReminder, now: datetime, names: tuple[str, ...] = KEPT) -> bool:
    """Make the stored row say what the wanted one says; gives whether anything differed."""
    if _kept(row) == _kept(known):
        return False
    differs = [name for name in names if getattr(row, name) != getattr(known, name)]
    for name in differs:
        setattr(known, name, getattr(row, name))
    if known.late_at and {"grace_at", "cancelled_at"}.intersection(differs):  # or who tells would have passed it over
        told_at = late_at(known.due_at, known.grace_at, known.recorded_at or known.due_at)
        known.late_at = told_at if told_at > now else now + HELD_FOR
    return bool(differs)


def _key(row: PlainReminder) -> tuple[str, datetime]:
    return row.point, row.due_at
