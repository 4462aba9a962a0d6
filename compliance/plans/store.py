"""Stores what the folds conclude as reminders: only the difference is written, as for spans."""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, fields
from datetime import datetime, timedelta
from operator import attrgetter

from django.db import connection, router
from django.db.models import QuerySet

from .models import Reminder
from .obligation_lines import PlainReminder

# No transaction that writes rows takes longer, so none of them is passed over by who tells.
HELD_FOR = timedelta(minutes=5)
NOT_ASKED = "is stored, and not asked for"
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

    def in_words(self) -> Iterator[tuple[Reminder, str]]:
        """What is wrong with which row, where what nothing asks for is cancelled because it is `NOT_ASKED`."""
        found = (self.added, "is asked for, and not stored"), (self.changed, "is stored otherwise than asked for")
        for rows, wrong in (*found, (self.unwanted, NOT_ASKED)):
            for row in rows:
                model = Reminder(**{name: getattr(row, name) for name in COLUMNS})
                yield model, NOT_ASKED if row.cancelled_because == NOT_ASKED else wrong


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


def write(differences: Collection[Difference]) -> None:
    """Write them together. What is changed, and on SQLite what is added, is written row by row by one prepared statement."""
    if unwanted := [row.id for each in differences for row in each.unwanted]:
        Reminder.objects.filter(pk__in=unwanted)._raw_delete(router.db_for_write(Reminder))
    put(_rows((row for each in differences for row in each.changed), COLUMNS), COLUMNS, CHANGING)
    put(_rows((row for each in differences for row in each.added), COLUMNS[:-1]), COLUMNS[:-1])


def _rows(reminders: Iterable[PlainReminder], columns: Sequence[str]) -> list[tuple]:
    """As the table takes them."""
    values, keep = attrgetter(*columns), connection.ops.adapt_datetimefield_value
    keep_day = connection.ops.adapt_datefield_value
    kept = [keep if name.endswith("_at") else keep_day if name == "day" else None for name in columns]
    return [
        tuple(adapt(value) if adapt else value for adapt, value in zip(kept, values(row), strict=True))
        for row in reminders
    ]


def put(rows: Sequence[tuple], columns: Sequence[str], ending: str = "") -> None:
    """By the quickest way in that each engine has; as `bulk_create`, for which each would have to be a model."""
    table, names = Reminder._meta.db_table, ", ".join(columns)
    if not rows:
        return
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql" and not ending:
            with cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)
        else:
            marks = ", ".join(["%s"] * len(columns))
            cursor.executemany(f"INSERT INTO {table} ({names}) VALUES ({marks}) {ending}", rows)


def _follow_standing(stored: dict, wanted: dict, now: datetime, found: Difference) -> None:
    standing = sorted((row for row in stored.values() if row.recorded_at is None), key=lambda row: row.due_at)
    for point, last in {row.point: row for row in standing}.items():
        same = wanted.get(_key(last))
        for key in [key for key, row in wanted.items() if row.point == point and row.due_at <= last.due_at]:
            del wanted[key]
        of_point = [row for row in wanted.values() if row.point == point]
        following = min(of_point, key=lambda row: row.opens_at, default=None)
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
