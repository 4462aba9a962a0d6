"""The numbers typed in a check in progress: those that count, those taken back, their unit, the first beyond the tolerance.

None is ever lost: what does not count any more goes with the check into its record. Nothing here is saved.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from compliance.metrology.mistyped import suggests_converted, suggests_other_unit
from compliance.metrology.settling import has_moved
from shared.units import Unit, parse

from .evaluation import Typed, instrument_of, read_typed
from .kinds import kind_of
from .models import CheckDraft

TAKEN_BACK, TIMED_AGAIN = "taken_back", "timed_again"
OTHER = {Unit.CELSIUS: Unit.FAHRENHEIT, Unit.FAHRENHEIT: Unit.CELSIUS}


@dataclass(frozen=True, slots=True)
class TypedAt:
    """A number with the moment at which it was typed."""

    at: datetime
    reading: Typed

    @property
    def shown(self) -> str:
        return shown(self.reading)


def shown(reading: Typed) -> str:
    """As it was typed, with its unit."""
    return f"{reading.text} °{reading.unit}"


def typed(draft: CheckDraft) -> list[Typed]:
    """The numbers that count."""
    return read_typed([tuple(reading[:3]) for reading in draft.readings])


def unit_of(draft: CheckDraft) -> str:
    """The unit that the next number is typed in."""
    return draft.unit or draft.probe.site.unit


def add(draft: CheckDraft, elapsed_ms: int, text: str) -> None:
    draft.readings = [*draft.readings, [elapsed_ms, text, unit_of(draft), False]]
    keep_outside(draft)


def strike(draft: CheckDraft, why: str, elapsed_ms: int | None = None) -> None:
    """Take back the numbers of this moment, or all of them."""
    gone = [reading for reading in draft.readings if elapsed_ms in (None, reading[0])]
    draft.readings = [reading for reading in draft.readings if reading not in gone]
    draft.struck = [*draft.struck, *(_struck(draft, reading, why) for reading in gone)]
    keep_outside(draft)


def _struck(draft: CheckDraft, reading: list, why: str) -> dict:
    elapsed, text, unit, *said = reading
    at = (draft.inserted_at + timedelta(milliseconds=elapsed)).isoformat()
    return {"at": at, "elapsed_ms": elapsed, "typed": text, "unit": unit, "said": said == [True], "why": why}


def say_unit(draft: CheckDraft, unit: str) -> None:
    """The display shows this unit: so do all numbers typed since that was last said, and those to come."""
    draft.unit = Unit(unit).value
    draft.readings = [r if r[3:] == [True] else [r[0], r[1], draft.unit, True] for r in draft.readings]
    draft.struck = [s if s["said"] else s | {"unit": draft.unit, "said": True} for s in draft.struck]
    keep_outside(draft)


def ask_unit_again(draft: CheckDraft) -> None:
    """What was said of the unit is taken back: the numbers are in the site's again until somebody says it anew."""
    site_unit, draft.unit = draft.probe.site.unit, ""
    draft.readings = [[r[0], r[1], site_unit, False] for r in draft.readings]
    draft.struck = [s | {"unit": site_unit, "said": False} for s in draft.struck]
    keep_outside(draft)


def unit_question(draft: CheckDraft) -> Typed | None:
    """The last number that makes sense in the other unit only, or turned back from it, while nobody has said which one the
    display shows."""
    reference, before, asked = reference_milli(draft), None, None
    if reference is None:
        return None
    for reading in draft.readings:
        number = read_typed([tuple(reading[:3])])[0]
        if reading[3:] == [True]:
            before, asked = number.value_milli / 1000, None
        elif is_converted(number, reference) or suggests_other_unit(*_as_typed(number), reference / 1000, before):
            asked = number
    return asked


def is_converted(number: Typed, reference: int) -> bool:
    """Whether somebody may have turned what the display showed into °C."""
    return suggests_converted(*_as_typed(number), reference / 1000)


def _as_typed(number: Typed) -> tuple[float, bool]:
    return float(parse(number.text)), number.unit == Unit.FAHRENHEIT


class Moved(StrEnum):
    """Whether the display was seen to move to its value: as the numbers show, or as somebody answered where they do not.

    Of a number beyond the tolerance it is not asked: that speaks against the probe, held or not.
    """

    SHOWN = "shown"
    NOT_ASKED = "not_asked"
    YES = "yes"
    NO = "no"
    UNANSWERED = "unanswered"


def moved(draft: CheckDraft) -> Moved:
    point, said, numbers = kind_of(draft).guidance.moved, draft.preparation, typed(draft)
    if point is None or not numbers:
        return Moved.NOT_ASKED
    if has_moved([each.timed() for each in numbers], instrument_of(draft.probe).resolution):
        return Moved.SHOWN
    if is_beyond(numbers[-1].value_milli, reference_milli(draft), draft.probe.tolerance_milli):
        return Moved.NOT_ASKED
    if point in said.get("points", []):
        return Moved.YES
    return Moved.NO if point in said.get("left", []) else Moved.UNANSWERED


def reference_milli(draft: CheckDraft) -> int | None:
    """What surrounds the probe; None while that is not known."""
    return kind_of(draft).reference_milli(draft)


def is_beyond(value_milli: int, reference: int | None, tolerance_milli: int) -> bool:
    """Whether a number lies beyond the tolerance, or might: as typed, with no allowance for any uncertainty."""
    return reference is None or abs(value_milli - reference) > tolerance_milli


def first_outside(draft: CheckDraft) -> TypedAt | None:
    """The first number typed, taken back or not, that lies beyond the tolerance."""
    reference, tolerance = reference_milli(draft), draft.probe.tolerance_milli
    found = [each for each in _all(draft) if is_beyond(each.reading.value_milli, reference, tolerance)]
    return min(found, key=lambda each: each.at, default=None)


def typed_at(draft: CheckDraft, moment: datetime) -> TypedAt:
    """The number of this moment: it lay beyond the tolerance that the probe had then."""
    return min(_all(draft), key=lambda each: abs(each.at - moment))


def keep_outside(draft: CheckDraft) -> None:
    first = first_outside(draft)
    draft.outside_since = first.at if first else None


def last_at(draft: CheckDraft) -> datetime | None:
    """When the last number was typed."""
    return max((each.at for each in _all(draft)), default=None)


def _all(draft: CheckDraft) -> Iterator[TypedAt]:
    for reading in typed(draft):
        yield TypedAt(draft.inserted_at + timedelta(milliseconds=reading.elapsed_ms), reading)
    for struck in draft.struck:
        [reading] = read_typed([(struck["elapsed_ms"], struck["typed"], struck["unit"])])
        yield TypedAt(datetime.fromisoformat(struck["at"]), reading)


def kept(draft: CheckDraft) -> dict:
    """What goes into the record beside the numbers that count; `bath` names the ice that several probes were in."""
    names = ("at", "elapsed_ms", "typed", "unit", "why")
    taken_back = [{name: struck[name] for name in names} for struck in draft.struck]
    answer = moved(draft)
    asked = "" if answer in (Moved.SHOWN, Moved.NOT_ASKED) else answer.value
    bath = str(draft.together) if draft.together else ""
    known = {"taken_back": taken_back, "unit": draft.unit, "moved": asked, "bath": bath}
    return {name: value for name, value in known.items() if value}
