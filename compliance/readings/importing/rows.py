"""From the cells of a file to rows that can be stored, in batches. The loop of an import: written for speed."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from compliance.readings.keys import row_key
from compliance.readings.limit_evaluation import HOTTEST_FOOD, breach, too_hot_for_food, untimed

from .book import Book, KnownLimit, Refused, read_note, read_reason
from .layout import COLUMNS, FileTable

SITE = 2  # its place in a row
BATCH = 1_000  # written at one go: others wait for so many


class RowRefused(Refused):
    """The row as a whole cannot be used, though each cell might."""


@dataclass(slots=True)
class Batch:
    """`rows` are (key, probe, site, version, item, typed, unit, milli, hold, since start, taken at, taken by,
    note, used despite, appliance, limit, whether the row names who took it)."""

    rows: list[tuple] = field(default_factory=list)
    breaches: list[tuple[str, str]] = field(default_factory=list)  # (key, why)
    bad: list[tuple[int, str]] = field(default_factory=list)  # (line, reason)
    doubts: list[tuple[int, str]] = field(default_factory=list)  # (line, words)
    lines: int = 0
    rest_after: int | None = None  # its last line, unless it reaches the end of the file
    line_of: dict[str, int] = field(default_factory=dict)  # of every key of the file so far


def batches(table: FileTable, book: Book, size: int = BATCH) -> Iterator[Batch]:
    """Every row of the file, good or bad, once. Raises FileRefused where the file cannot be read on."""
    seen: dict[str, int] = {}
    read, line_of, plain = row_reader(table, book), table.line_of, table.named if table.named == table.width else -1
    batch, end, last = Batch(line_of=seen), line_of(), 0
    for cells in table.rows:
        line, end = end + 1, line_of()
        if not any(cells):
            continue
        if batch.lines >= size:
            batch.rest_after = last
            yield batch
            batch = Batch(line_of=seen)
        batch.lines, last = batch.lines + 1, end
        try:
            if len(cells) != plain:
                cells = fitted(cells, table)
            cells.append("")
            row, why, doubts = read(cells)
            if seen.setdefault(row[0], line) != line:
                raise RowRefused(f"is the same reading as line {seen[row[0]]}")
        except RowRefused as refused:
            batch.bad.append((line, str(refused)))
        except Refused:
            batch.bad.append((line, every_reason(table, book, cells)))
        else:
            batch.rows.append(row)
            if why:
                batch.breaches.append((row[0], why))
            if doubts:
                batch.doubts.append((line, "; ".join(doubts)))
    yield batch


def row_reader(table: FileTable, book: Book) -> Callable[[list[str]], tuple]:
    """A function from cells to (row, why the limit is not met, doubts); it raises Refused at the first cell that is wrong."""
    pick, places, values, items = table.pick, book.places, book.values, book.items
    holds, sinces, people, reasons = book.holds, book.since, book.people, {}

    def read(cells: list[str]) -> tuple:
        site, probe, limit, item, value, unit, taken_at, held, begun, note, taken_by, despite, named = pick(cells)
        place = places[site]
        instrument, rule = place.probes[probe], place.limits[limit]
        appliance = of_limit(place.appliances[named], rule) if named else None
        item, unit = items[item], place.units[unit]
        typed, milli = values[unit][value]
        at, hold, since = place.clock.read(taken_at), holds[held], sinces[begun]
        version = rule.last if at >= rule.since else rule.at(at)
        why, doubts = "", None
        if milli > version.top or milli < version.bottom or (hold is not None and hold < version.hold_s):
            told = version.pk, milli, hold, since
            why = reasons.get(told) or reasons.setdefault(told, breach(version.record, milli, hold, since))
        if (
            at < instrument.quiet_from
            or place.pk != instrument.quiet_site
            or not instrument.low <= milli <= instrument.high
        ):
            doubts = instrument.track.doubts(milli, place.pk, at)
        if (hold is None and version.hold_s) or (since is None and version.within_s):
            doubts = [*(doubts or ()), untimed(version.record, hold, since)]
        if milli > HOTTEST_FOOD:
            doubts = [too_hot_for_food(typed, unit, milli), *(doubts or ())]
        stored = str(at)
        key = row_key(place.pk, instrument.pk, rule.pk, stored, item, milli)
        return (
            (
                key,
                instrument.pk,
                place.pk,
                version.pk,
                item,
                typed,
                unit,
                milli,
                hold,
                since,
                stored,
                people[taken_by],
                read_note(note) if note else "",
                read_reason(despite) if despite else "",
                appliance,
                rule.pk,
                bool(taken_by.strip()),
            ),
            why,
            doubts,
        )

    return read


def of_limit(known: tuple[int, int, str], rule: KnownLimit) -> int:
    """The key of an appliance as `Book` knows it. Raises Refused for one that another limit holds for."""
    pk, limit, name = known
    if limit != rule.pk:
        raise Refused(f"appliance “{name}” is not measured against the limit “{rule.code}”")
    return pk


def fitted(cells: list[str], table: FileTable) -> list[str]:
    """Sheets often have columns without a name at the end, which some programs leave out of a row; they must be empty."""
    if len(cells) == table.named:
        return cells + [""] * (table.width - table.named)
    if len(cells) != table.width:
        raise RowRefused(
            f"has {len(cells)} cells where the first line has {table.named}; "
            "put quotation marks around text with a separator in it"
        )
    if any(cell.strip() for cell in cells[table.named :]):
        raise RowRefused("has a cell under no column name; name the column or empty the cell")
    return cells


def every_reason(table: FileTable, book: Book, cells: list[str]) -> str:
    """All that is wrong with the cells of one row, so that it can be put right in one go."""
    told = dict(zip(COLUMNS, table.pick(cells), strict=True))
    reasons: list[str] = []
    place, unit = _try(book.places.__getitem__, told["site"], reasons), None
    if place:
        _try(place.probes.__getitem__, told["probe"], reasons)
        rule = _try(place.limits.__getitem__, told["limit"], reasons)
        unit = _try(place.units.__getitem__, told["unit"], reasons)
        at = _try(place.clock.read, told["taken_at"], reasons)
        if rule and at:
            _try(rule.at, at, reasons)
        known = _try(place.appliances.__getitem__, told["appliance"], reasons) if told["appliance"] else None
        if rule and known:
            _try(lambda found: of_limit(found, rule), known, reasons)
    _try(book.items.__getitem__, told["item"], reasons)
    _try(book.values[unit or "C"].__getitem__, told["value"], reasons)
    _try(book.holds.__getitem__, told["held_s"], reasons)
    _try(book.since.__getitem__, told["since_start_s"], reasons)
    _try(book.people.__getitem__, told["taken_by"], reasons)
    _try(read_note, told["note"], reasons)
    _try(read_reason, told["used_despite"], reasons)
    return "; ".join(reasons)


def _try(read: Callable, text, reasons: list[str]):
    try:
        return read(text)
    except Refused as refused:
        reasons.append(str(refused))
        return None
