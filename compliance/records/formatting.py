"""How times, values and acts are put into words on paper."""

import re
from datetime import datetime
from math import ceil

from compliance.checks.kinds import kind_of
from compliance.checks.models import Check
from compliance.checks.queries import ENTERED_APART, is_late
from compliance.checks.surroundings import told
from compliance.limits.models import Direction, LimitVersion
from compliance.limits.wording import demand
from compliance.quarantine.queries import range_in_words
from compliance.readings.models import Reading
from shared.append_only import Fact, Void
from shared.time_text import duration, moment
from shared.unit_text import in_unit
from shared.units import MINUS, Unit, rounded_up, show, show_error, show_spread

NO_HOLD = "hold time not recorded"
FIGURE = re.compile(r"(?<=\d) (?=(?:°[CF]|s|min|h|mm)\b)")


def joined(text: str) -> str:
    """Keeps each figure on one line with its unit."""
    return FIGURE.sub("\N{NO-BREAK SPACE}", text)


def limit_in_words(version: LimitVersion) -> str:
    """A limit and what it demands, as in "Cold holding: at most 5 °C"."""
    return joined(f"{version.limit.title}: {demand(version)}")


def reading_value(reading: Reading) -> str:
    """The same of a reading, with its limit; a hold time that the limit asks for is told to be missing."""
    told = value(reading.typed, reading.unit, reading.value_milli, reading.hold_s, reading.since_start_s)
    return f"{told}, {NO_HOLD}" if reading.lacks_hold else told


def limit_in_short(version: LimitVersion) -> str:
    """The same for narrow columns, as in "Cold holding: ≤ 5 °C"."""
    text = limit_in_words(version)
    for direction, sign in ((Direction.AT_MOST, "≤"), (Direction.AT_LEAST, "≥")):
        text = text.replace(f": {direction.label} ", f": {sign} ")
    return text


def value(typed: str, unit: str, milli: int, hold_s: int | None = None, since_s: int | None = None) -> str:
    """A reading as it was typed, with a true minus and a point; in °C too where it was typed in another unit; how long it was
    held, and since when it cooled or heated."""
    text = f"{typed.replace('-', MINUS).replace(',', '.')} {Unit(unit).label}"
    if unit != Unit.CELSIUS:
        text += f" ({show(milli)})"
    for word, seconds in (("for", hold_s), ("after", since_s)):
        text += "" if seconds is None else f" {word} {duration(seconds) or '0 s'}"
    return joined(text)


def between(lowest: int | None, highest: int | None, unit: str) -> str:
    """What a reading could really have been."""
    if lowest is None or highest is None:
        return "cannot be told"
    return joined(range_in_words(lowest, highest, unit))


def method(check: Check, unit: str) -> str:
    """How a check was made and against what, with the uncertainty of the reference."""
    bath = kind_of(check).reference_on_paper(check)
    if not kind_of(check).guided:
        return f"{bath}, at {show(check.reference_milli, unit, 2)}"
    if not usable(check):
        return f"{bath[0].upper()}{bath[1:]}, which stands for no known temperature"
    half_width = check.budget.get("bath", {}).get("half_width")
    reference = show(check.reference_milli, unit, 2)
    if half_width is not None:
        spread = uncertainty(ceil(round(half_width * 1000, 6)), unit)
        reference = f"{reference.removesuffix(f' {Unit(unit).label}')}\N{NO-BREAK SPACE}{spread}"
    return joined(f"{bath[0].upper()}{bath[1:]}, {reference}")


def version_in_words(version: int | None) -> str:
    """Which version of its procedure a check was made by."""
    return "version not recorded" if version is None else f"version {version}"


def usable(check: Check) -> bool:
    """Whether what a check was held against stands for a known temperature."""
    return check.budget.get("bath", {}).get("usable", True)


def air(check: Check, unit: str) -> str:
    """Where the air pressure of a check at boiling is known from; empty for other checks."""
    if not check.surroundings:
        return ""
    said = "; ".join(told(check.surroundings, unit))
    return joined(sentence(said[0].upper() + said[1:]))


def error(check: Check, unit: str) -> str:
    """The error of the probe, or that none was found."""
    return "none found" if check.error_milli is None else joined(show_error(check.error_milli, unit))


def uncertainty(milli: int | None, unit: str) -> str:
    """An expanded uncertainty as "±0.07 °C", rounded up so that no check looks surer than it was; empty for none."""
    if milli is None:
        return ""
    return joined(f"±{rounded_up(milli, unit)} {Unit(unit).label}")


def sentence(text: str) -> str:
    """Text that people typed, ended so that the next sentence can follow it."""
    text = text.strip()
    return text if not text or text[-1] in ".!?…" else f"{text}."


def entered_beside(fact: Fact, at: datetime, scope, *, late: bool = False, other: bool = False) -> str:
    """When something was entered that was done at `at`, and by whom where another person did it; empty where it was at once."""
    told = moment(fact.recorded_at, scope.zone) if late or is_late(at, fact.recorded_at, ENTERED_APART) else ""
    by = f"by {scope.people.full_of(fact)}" if other else ""
    words = " ".join(filter(None, (f"late, {told}" if late else told, by)))
    return f"Entered {words}." if words else ""


def struck_by(void: Void, scope) -> str:
    """Who struck something out, when and why."""
    who, at = scope.people.initials_of(void), moment(void.recorded_at, scope.zone)
    return f"Struck out by {who}, {at}: {sentence(void.reason)}"


def budget(check: Check, unit: str) -> str:
    """Every line of the uncertainty budget: half-width or standard uncertainty, and what it comes from; empty without one."""
    lines = []
    for part in check.budget.get("components", []):
        bounds = part["distribution"] == "rectangular"
        size = show_spread(round((part["value"] if bounds else part["standard"]) * 1000), unit, 3)
        lines.append(f"{part['name']} {size} ({'bounds' if bounds else 'standard'}): {in_unit(part['why'], unit)}")
    return joined(f"{'; '.join(lines)}.") if lines else ""
