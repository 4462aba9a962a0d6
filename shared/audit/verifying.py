"""Whether the record is what the chain says, told row by row: what was altered, removed, inserted or put elsewhere behind the
program's back. What whoever did it hashed anew as well is told only by a head that was printed before.
"""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from enum import StrEnum

from django.db import DatabaseError, models

from .chain import HOUSE, START, entry_hash
from .digests import (
    SHORT,
    ColumnGone,
    Columns,
    Group,
    from_ranges,
    group_of,
    in_short,
    kept_records,
    layout_of,
    model_of,
    records_there,
    row_digests,
)
from .models import Entry, HashedColumns

AT_ONCE = 200  # entries
UNREADABLE = (
    ValueError,
    TypeError,
    ArithmeticError,
    DatabaseError,
)  # what a column may hold that was written past the program


class Wrong(StrEnum):
    ALTERED = "altered"
    REMOVED = "removed"
    INSERTED = "inserted"
    REORDERED = "reordered"
    UNKNOWN = "not to be verified"


@dataclass(frozen=True, slots=True)
class Discrepancy:
    """What is wrong with which row; `business` and `number` say where it stands in the chain, if it does."""

    wrong: Wrong
    row: str
    why: str
    business: int | None = None
    number: int | None = None

    def __str__(self):
        return f"{self.wrong.value}: {self.row}, {self.why}"


@dataclass
class _Walk:
    """What is learned on the way along the chains."""

    layouts: dict[str, Columns] = field(default_factory=dict)
    house: dict[int, str] = field(default_factory=lambda: {0: START})
    held: dict[str, list[range]] = field(default_factory=lambda: defaultdict(list))  # keys by table
    seen: set[int] = field(default_factory=set)  # entries that stand in a chain


def findings() -> Iterator[Discrepancy]:
    """All that is wrong, chain by chain; then what no entry holds."""
    walk = _Walk()
    yield from _layouts(walk)
    chained = Entry.objects.filter(number__isnull=False, business_id__isnull=False).order_by()
    for business in sorted({HOUSE, *chained.values_list("business_id", flat=True).distinct()}):
        yield from _chain(walk, business)
    yield from _held_by_none(walk)


def _layouts(walk: _Walk) -> Iterator[Discrepancy]:
    for model in (*kept_records(), Entry):
        walk.layouts[layout_of(model).code] = layout_of(model)
    for row in _readable(HashedColumns.objects.order_by("pk"), HashedColumns):
        layout = None if isinstance(row, int) else Columns(row.table, tuple(row.columns))
        if layout is None or layout.code != row.code:
            yield Discrepancy(
                Wrong.ALTERED, f"hashed columns {getattr(row, 'pk', row)}", "whose code is not made of its columns"
            )
        else:
            walk.layouts.setdefault(layout.code, layout)


def _chain(walk: _Walk, business: int) -> Iterator[Discrepancy]:
    rows = Entry.objects.filter(business_id=business, number__isnull=False).order_by("number", "pk")
    number, last, key = 0, START, 0
    for some in _some(_readable(rows, Entry), AT_ONCE):
        whole = []
        for entry in some:
            if isinstance(entry, int):
                walk.seen.add(entry)
                number += 1
                last = None
                yield Discrepancy(Wrong.ALTERED, f"entry {entry}", "which cannot be read any more", business, number)
                continue
            walk.seen.add(entry.pk)
            wrong = list(_link(walk, entry, number + 1, last, key))
            yield from wrong
            number, last, key = entry.number, entry.hash, entry.pk
            if business == HOUSE:
                walk.house[number] = entry.hash
            whole.append(entry)
        yield from _records(walk, whole)


def _link(walk: _Walk, entry: Entry, number: int, last: str | None, key: int) -> Iterator[Discrepancy]:
    """Whether an entry is what it was, and stands where it stood."""
    place = entry.business_id, entry.number
    if entry.number > number:
        gone = str(number) if entry.number == number + 1 else f"{number} to {entry.number - 1}"
        yield Discrepancy(Wrong.REMOVED, f"entry {gone} of the chain", f"which came before {_named(entry)}", *place)
    elif entry.number < number:
        yield Discrepancy(Wrong.INSERTED, _named(entry), "a second one of this number", *place)
    elif last is not None and entry.previous != last and _own_hash(walk, entry) == entry.hash:
        why = f"whose hash is not the one that {_named(entry)} holds"
        before = f"entry {number - 1} of the chain" if number > 1 else "the beginning of the chain"
        yield Discrepancy(Wrong.ALTERED, before, why, entry.business_id, max(1, number - 1))
    if _own_hash(walk, entry) != entry.hash:
        if (where := _where_it_belongs(walk, entry)) is not None:
            yield Discrepancy(Wrong.REORDERED, _named(entry), f"which stood at place {where}", *place)
        else:
            yield Discrepancy(Wrong.ALTERED, _named(entry), "which does not give its hash", *place)
    elif entry.pk < key:
        yield Discrepancy(Wrong.REORDERED, _named(entry), "whose key is below that of the entry before", *place)


def _own_hash(walk: _Walk, entry: Entry) -> str | None:
    house = "0" * 64 if entry.business_id == HOUSE else walk.house.get(entry.house)
    try:
        return None if house is None else entry_hash(entry, house)
    except UNREADABLE:
        return None


def _where_it_belongs(walk: _Walk, entry: Entry) -> int | None:
    """Another place in the chain at which it would give its hash."""
    before = Entry.objects.filter(business_id=entry.business_id, hash=entry.previous).exclude(pk=entry.pk)
    stands = entry.number
    for number in {each + 1 for each in before.values_list("number", flat=True) if each is not None} | {1}:
        entry.number = number
        found = _own_hash(walk, entry) == entry.hash
        entry.number = stands
        if found and number != stands:
            return number
    return None


def _records(walk: _Walk, entries: list[Entry]) -> Iterator[Discrepancy]:
    """Whether the records that some entries hold are what they were."""
    held = [(entry, group) for entry in entries for group in _groups(entry)]
    wanted: dict[tuple, set[int]] = defaultdict(set)
    for _, group in held:
        for keys in from_ranges(group.keys):
            walk.held[group.table].append(keys)
            wanted[group.table, group.columns].update(keys)
    found = {of: dict(_digests(walk, *of, keys)) for of, keys in wanted.items()}
    for entry, group in held:
        if (digests := found[group.table, group.columns]).get(0) == b"":
            why = f"of {group.table}, whose columns are not known, held by {_named(entry)}"
            yield Discrepancy(Wrong.UNKNOWN, f"rows {group.keys}", why, entry.business_id, entry.number)
        else:
            yield from _group(entry, group, digests)


def _groups(entry: Entry) -> list[Group]:
    """None of an entry whose list was altered so that it cannot be read; that is told of the entry."""
    try:
        groups = [Group(*each) for each in entry.facts or ()]
        for group in groups:
            from_ranges(group.keys)
        return groups
    except UNREADABLE:
        return []


def _digests(walk: _Walk, table: str, code: str, keys: Iterable[int]) -> Iterator[tuple[int, bytes]]:
    model, layout = model_of(table), walk.layouts.get(code)
    if model is None or layout is None or layout.table != table:
        yield 0, b""
        return
    try:
        yield from list(row_digests(model, keys, layout))
    except ColumnGone:
        yield 0, b""
    except UNREADABLE:
        for key in keys:
            try:
                yield from list(row_digests(model, [key], layout))
            except UNREADABLE:
                yield key, b"unreadable"


def _group(entry: Entry, group: Group, digests: dict[int, bytes]) -> Iterator[Discrepancy]:
    keys = [key for keys in from_ranges(group.keys) for key in keys]
    there = {key: digests[key] for key in keys if key in digests}
    where = entry.business_id, entry.number
    for key in keys:
        if key not in there:
            yield Discrepancy(Wrong.REMOVED, _row(group.table, key), f"which {_named(entry)} holds", *where)
    if len(there) == len(keys) and group_of(Columns(group.table, ()), there).digest == group.digest:
        return
    short = in_short(group)
    altered = [key for n, key in enumerate(keys) if key in there and short[n : n + 1] != [there[key][:SHORT]]]
    if not altered and len(there) == len(keys):
        altered = keys  # two that are alike in short
    for key in altered:
        yield Discrepancy(Wrong.ALTERED, _row(group.table, key), f"which {_named(entry)} holds", *where)


def _held_by_none(walk: _Walk) -> Iterator[Discrepancy]:
    for model in records_there():
        for key in _outside(walk.held[model._meta.db_table], model._base_manager.order_by("pk")):
            yield Discrepancy(Wrong.INSERTED, _row(model._meta.db_table, key), "which no entry of the trail holds")
    for key in _outside(walk.held[Entry._meta.db_table], Entry.objects.order_by("pk")):
        if key not in walk.seen:
            yield Discrepancy(Wrong.INSERTED, f"entry {key}", "which stands in no chain")


def _outside(held: list[range], rows: models.QuerySet) -> Iterator[int]:
    """Keys of rows that lie in none of these ranges."""
    held = _merged(held)
    starts = [keys.start for keys in held]
    for key in rows.values_list("pk", flat=True).iterator(chunk_size=5000):
        at = bisect_right(starts, key) - 1
        if at < 0 or key not in held[at]:
            yield key


def _merged(held: list[range]) -> list[range]:
    """In order, none reaching into another."""
    merged: list[range] = []
    for keys in sorted(held, key=lambda keys: keys.start):
        if merged and keys.start <= merged[-1].stop:
            merged[-1] = range(merged[-1].start, max(merged[-1].stop, keys.stop))
        else:
            merged.append(keys)
    return merged


def _readable(rows: models.QuerySet, model: type[models.Model]) -> Iterator[models.Model | int]:
    """The rows; of those that hold what cannot be read, the key alone."""
    for some in _some(rows.values_list("pk", flat=True).iterator(chunk_size=5000), AT_ONCE):
        try:
            found = model.objects.in_bulk(some)
        except UNREADABLE:
            found = {}
        for key in some:
            yield found[key] if key in found else _alone(model, key)


def _alone(model: type[models.Model], key: int) -> models.Model | int:
    try:
        return model.objects.get(pk=key)
    except UNREADABLE:
        return key


def _some(rows: Iterable, most: int) -> Iterator[list]:
    some = []
    for row in rows:
        some.append(row)
        if len(some) == most:
            yield some
            some = []
    if some:
        yield some


def _row(table: str, key: int) -> str:
    return f"{model_of(table)._meta.verbose_name} {key}" if model_of(table) else f"row {key} of {table}"


def _named(entry: Entry) -> str:
    at = f"{entry.at:%Y-%m-%d %H:%M}" if entry.at else "no time"
    return f"entry {entry.number} ({entry.action} by {entry.actor}, {at} UTC)"


@dataclass(frozen=True, slots=True)
class HeadFound:
    """Whether the history up to a head that was printed still stands, and why not."""

    stands: bool
    why: str


def standing_of(head: str, found: Iterable[Discrepancy]) -> HeadFound:
    """`head` is a hash as it was printed; `found` is all that is wrong."""
    entry = Entry.objects.filter(hash=head).order_by("pk").first()
    if entry is None:
        return HeadFound(False, "No entry of the trail has this hash: what was printed then has been written anew.")
    reached = {entry.business_id: entry.number, HOUSE: entry.house if entry.business_id != HOUSE else entry.number}
    before = [each for each in found if each.number is None or each.number <= reached.get(each.business, 0)]
    if before:
        return HeadFound(False, f"Up to {_named(entry)}, {len(before)} of what is listed above is wrong.")
    return HeadFound(True, f"The history up to {_named(entry)} is what it was when this was printed.")
