"""How limits are put into words."""

from shared.time_text import duration
from shared.units import MINUS, Unit

from .models import Direction, LimitVersion, Rule


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
