"""How limits are put into words, and how a time is read from them."""

import re

from shared.units import MINUS, Unit

from .models import Direction, LimitVersion, Rule

SECONDS = {"h": 3600, "min": 60, "s": 1}
PART = re.compile(r"(\d{1,5})\s*(h(?:ours?|rs?)?|m(?:in(?:ute)?s?)?|s(?:ec(?:ond)?s?)?)?", re.IGNORECASE)
LONGEST = 48 * 3600


def duration(seconds: int | None) -> str:
    """A time for people: '17 s', '3 min', '1 min 25 s', '2 h'; empty for none."""
    left, parts = seconds or 0, []
    for unit, size in SECONDS.items():
        count, left = divmod(left, size)
        if count:
            parts.append(f"{count} {unit}")
    return " ".join(parts)


def parse_duration(text: str) -> int:
    """Seconds from '17 s', '3 min', '1 h 30 min'; a bare number is seconds. Raises ValueError saying what to type."""
    cleaned = text.strip()
    parts = PART.findall(cleaned)
    if not parts or PART.sub("", cleaned).strip(" ,") or (len(parts) > 1 and not all(unit for _, unit in parts)):
        raise ValueError(f"“{cleaned[:20]}” is not a time. Type it as 15 s, 3 min or 1 h 30 min.")
    total = sum(int(count) * _size(unit) for count, unit in parts)
    if not 0 < total <= LONGEST:
        raise ValueError("Give a time between 1 second and 48 hours.")
    return total


def _size(unit: str) -> int:
    return {"h": 3600, "m": 60}.get(unit[:1].lower(), 1)


def figure(value, unit: str) -> str:
    """A value in its own unit, with no zeros that say nothing: '41 °F', '54.4 °C'."""
    text = f"{value.normalize():f}".replace("-", MINUS)
    return f"{text} {Unit(unit).label}"


def unbroken(what: Rule | LimitVersion) -> str:
    """The same for narrow columns: no line ends between a number and its unit."""
    return demand(what).replace(" °", "\N{NO-BREAK SPACE}°")


def demand(what: Rule | LimitVersion) -> str:
    """What must hold, in words: 'at least 155 °F for 17 s', 'at most 70 °F within 2 h'."""
    words = [Direction(what.direction).label, figure(what.value, what.unit)]
    if what.hold_s:
        words += ["for", duration(what.hold_s)]
    if what.within_s:
        words += ["within", duration(what.within_s)]
    return " ".join(words)
