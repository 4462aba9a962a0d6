"""A table of the record as data: its columns with their types, from which JSON, its schema and CSV are made alike."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import Enum

from ..scope import RecordScope


class Holds(Enum):
    """What a column holds, as JSON Schema says it."""

    TEXT = {"type": "string"}
    MAYBE_TEXT = {"type": ["string", "null"]}
    WHOLE = {"type": "integer"}
    MAYBE_WHOLE = {"type": ["integer", "null"]}
    MAYBE_NUMBER = {"type": ["number", "null"]}
    FLAG = {"type": "boolean"}
    MOMENT = {"type": "string", "format": "date-time"}
    MAYBE_MOMENT = {"type": ["string", "null"], "format": "date-time"}
    ANYTHING = {}


@dataclass(frozen=True, slots=True)
class Col:
    name: str
    kind: Holds
    about: str = ""


@dataclass(frozen=True, slots=True)
class DataTable:
    """`rows` gives values in the order of the columns; moments as datetimes, the rest as JSON takes it."""

    name: str
    about: str
    columns: tuple[Col, ...]
    rows: Callable[[RecordScope], Iterator[tuple]]
