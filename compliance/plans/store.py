"""Stores what the folds conclude as reminders: only the difference is written, as for spans."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

from .models import Reminder

BATCH = 2000
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


@dataclass(slots=True)
class Difference:
    """What is to be written so that the stored rows become the wanted ones."""

    added: list[Reminder] = field(default_factory=list)
    changed: list[Reminder] = field(default_factory=list)
    unwanted: list[Reminder] = field(default_factory=list)

    def __bool__(self) -> bool:
        return bool(self.added or self.changed or self.unwanted)


def difference(
    stored: Iterable[Reminder],
    wanted: Iterable[Reminder],
    now: datetime,
    because: str,
    excused: frozenset[int] = frozenset(),
) -> Difference:
    """Of the rows of one probe, or of one limit.

    A row that nothing asks for any more is deleted while it lies ahead and nobody excused it, else cancelled with the reason.
    Rows of before rows lay ahead stand: nothing up to the last of them is derived anew, only its end follows what comes next.
    """
    stored = {_key(row): row for row in stored}
    wanted = {_key(row): row for row in wanted}
    found = Difference()
    _follow_standing(stored, wanted, now, found)
    for key, row in wanted.items():
        if (known := stored.get(key)) is None:
            row.recorded_at = now
            found.added.append(row)
        elif _take_over(row, known):
            found.changed.append(known)
    for key, row in stored.items():
        if key in wanted or row.recorded_at is None:
            continue
        if row.due_at > now and row.pk not in excused:
            found.unwanted.append(row)
        elif row.cancelled_at is None:
            row.cancelled_at, row.cancelled_because = now, because[:300]
            found.changed.append(row)
    return found


def write(found: Difference) -> None:
    """Write a difference; at most three statements a batch."""
    if found.unwanted:
        Reminder.objects.filter(pk__in=[row.pk for row in found.unwanted]).delete()
    Reminder.objects.bulk_update(found.changed, KEPT, batch_size=500)
    Reminder.objects.bulk_create(found.added, batch_size=BATCH)


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
        ends = same.closes_at if same else following.opens_at if following else last.closes_at
        closes = max(min(ends, last.closes_at) if last.round_id else ends, now)
        if last.closes_at > now and closes != last.closes_at:
            last.closes_at = closes
            found.changed.append(last)
        if following:
            following.opens_at = max(following.opens_at, last.closes_at)


def _take_over(row: Reminder, known: Reminder) -> bool:
    """Make the stored row say what the wanted one says; gives whether anything differed."""
    differs = [name for name in KEPT if getattr(row, name) != getattr(known, name)]
    for name in differs:
        setattr(known, name, getattr(row, name))
    return bool(differs)


def _key(row: Reminder) -> tuple[str, datetime]:
    return row.point, row.due_at
