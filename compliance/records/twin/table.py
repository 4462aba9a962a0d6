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
    DAY = {"type": "string", "format": "date"}
    MAYBE_DAY = {"type": ["string", "null"], "format": "date"}
    DAYS = {"type": "array", "items": {"type": "string", "format": "date"}}
    TEXTS = {"type": "array", "items": {"type": "string"}}
    LINES = {
        "type": "array",
        "items": {"type": "array", "prefixItems": [{"type": "integer"}, {"type": "string"}], "items": False},
    }
    COUNTS = {"type": "object", "additionalProperties": {"type": "integer"}}
    PHONE = {
        "type": ["object", "null"],
        "properties": {
            "at": {"type": "string", "format": "date-time"},
            "off_s": {"type": "integer"},
            "said_s": {"type": "integer"},
        },
        "required": ["at", "off_s"],
        "additionalProperties": False,
    }
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


def code(letter: str, pk: int | None) -> str | None:
    """The number that the printed record has for an entry, such as "R12"."""
    return f"{letter}{pk}" if pk else None


def key(word: str, pk: int | None) -> str | None:
    """That of an entry which has none on paper, such as "excuse:12"."""
    return f"{word}:{pk}" if pk else None


def who(scope: RecordScope, fact, field: str = "recorded_by") -> str | None:
    """As that person was called when it was written; None where whoever runs the machine wrote it."""
    person = getattr(fact, f"{field}_id")
    return str(scope.people.name(person, fact.recorded_at)) if person else None


def entered(scope: RecordScope, fact) -> tuple:
    return fact.recorded_at, who(scope, fact)


def struck(fact, number: Callable[[int | None], str | None], scope: RecordScope) -> tuple:
    """`number`: of the fact that stands in its place."""
    void = getattr(fact, "void", None)
    if void is None:
        return False, None, None, None, None
    return True, void.reason, *entered(scope, void), number(getattr(void, "replacement_id", None))


ENTERED = (Col("entered_at", Holds.MOMENT), Col("entered_by", Holds.MAYBE_TEXT))
STRUCK = (
    Col("void", Holds.FLAG, "Whether it was struck out; it counts no longer, and stays readable."),
    Col("struck_why", Holds.MAYBE_TEXT),
    Col("struck_at", Holds.MAYBE_MOMENT),
    Col("struck_by", Holds.MAYBE_TEXT),
    Col("replaced_by", Holds.MAYBE_TEXT, "The number of the entry in its place."),
)
PHONE = Col(
    "phone_clock",
    Holds.PHONE,
    "Where it was typed on a phone without network: the time by its clock, by how many seconds that was ahead of true time, and "
    "by how many as somebody answered.",
)
