"""The shape of a file of readings: its encoding, its separator and its header."""

import csv
import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from operator import itemgetter

from django.core.exceptions import ValidationError

COLUMNS = (
    "site",
    "probe",
    "limit",
    "item",
    "value",
    "unit",
    "taken_at",
    "held_s",
    "since_start_s",
    "note",
    "taken_by",
    "used_despite",
    "appliance",
)
OPTIONAL = ("unit", "held_s", "since_start_s", "note", "taken_by", "used_despite", "appliance")
# What the book that wrote the file knew when the reading was entered there: of the probe, and how who took it, the site and the
# probe were called; and what it said of the reading when the file was written.
SAID_OF_IT = ("number", "limit_demands", "limit_met", "standing", "last_decision")
PASSED_OVER = ("fitness", "taken_by_name", "site_then", "probe_then", *SAID_OF_IT)
REQUIRED = tuple(name for name in COLUMNS if name not in OPTIONAL)
SEPARATORS = ",;\t"
MOST_ROWS = 1_000_000
MOST_BYTES = 300 * 1024 * 1024


class FileRefused(ValidationError):
    """Something is wrong with the file as a whole; nothing of it can be read."""


@dataclass(frozen=True, slots=True)
class FileTable:
    """A file opened behind its header; `pick` takes a row's cells, with one empty cell added, in the order of COLUMNS."""

    rows: Iterator[list[str]]
    line_of: Callable[[], int]
    width: int  # cells in a row, those under no name at the end included
    named: int
    pick: Callable[[list[str]], tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Mentioned:
    """What stands in these columns of a file, each text once."""

    sites: set[str]
    probes: set[str]
    people: set[str]


def open_table(content: bytes) -> FileTable:
    """Raises FileRefused saying what to do about a file that is empty, not text, or has no usable header."""
    if len(content) > MOST_BYTES:
        raise FileRefused(f"The file is larger than {MOST_BYTES // 1024 // 1024} MB. Split it into several.")
    text = decode(content)
    separator = _separator(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    first = next((row for row in _rows(reader) if row), [])
    names = _names(first)
    return FileTable(_rows(reader), lambda: reader.line_num, len(first), len(names), _picker(names, len(first)))


def read_through(content: bytes) -> Mentioned:
    """What a file names, before it is looked up.

    Raises FileRefused where a file cannot be used as a whole, which is seen so before anything of it is written.
    """
    table, rows, found = open_table(content), 0, Mentioned(set(), set(), set())
    places = table.pick(range(table.width + 1))
    site, probe, person = (places[COLUMNS.index(name)] for name in ("site", "probe", "taken_by"))
    for cells in table.rows:
        if any(cells):
            rows += 1
            found.sites.update(cells[site : site + 1])
            found.probes.update(cells[probe : probe + 1])
            found.people.update(cells[person : person + 1])
    if not rows:
        raise FileRefused("The file has a header and no rows. Add the readings and send it again.")
    if rows > MOST_ROWS:
        raise FileRefused(f"The file has more than {MOST_ROWS:,} rows. Split it into several.")
    return found


def decode(content: bytes) -> str:
    """UTF-8 with or without a byte order mark."""
    if not content.strip(b"\xef\xbb\xbf \t\r\n"):
        raise FileRefused("The file is empty. Fill in the template and send it again.")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise FileRefused(f"Line {line} is not UTF-8 text. Save the file as “CSV UTF-8” and send it again.") from None
    if "\0" in text:
        raise FileRefused("This is not a text file. Save the sheet as “CSV UTF-8” and send it again.")
    return text


def _separator(text: str) -> str:
    """The one that splits the first line into the most columns that are known."""
    first = text.lstrip("\r\n").split("\n", 1)[0]
    return max(SEPARATORS, key=lambda mark: sum(_name(cell) in COLUMNS for cell in first.split(mark)))


def _name(cell: str) -> str:
    return cell.strip().strip('"').strip().casefold()


def _names(header: list[str]) -> list[str]:
    names = [_name(cell) for cell in header]
    while names and not names[-1]:
        names.pop()
    missing = [name for name in REQUIRED if name not in names]
    if missing:
        raise FileRefused(
            f"The first line must name the columns; missing: {', '.join(missing)}. The template has them all."
        )
    unknown = [name or "(no name)" for name in names if name not in (*COLUMNS, *PASSED_OVER)]
    if unknown:
        raise FileRefused(f"Columns that nobody reads: {', '.join(unknown)}. Take them out, so that nothing is lost.")
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise FileRefused(f"Columns named twice: {', '.join(twice)}. Keep one of each.")
    return names


def _picker(names: list[str], width: int) -> Callable[[list[str]], tuple[str, ...]]:
    return itemgetter(*(names.index(name) if name in names else width for name in COLUMNS))


def _rows(reader) -> Iterator[list[str]]:
    try:
        yield from reader
    except csv.Error as error:
        quoted = any(words in str(error) for words in ("unexpected end of data", "expected after"))
        why = "a quotation mark is opened and not closed as it should be" if quoted else str(error)
        raise FileRefused(
            f"Line {reader.line_num} cannot be split into cells: {why}. Put it right and send it again."
        ) from None
