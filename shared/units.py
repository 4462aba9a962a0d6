"""Temperatures: stored as whole milli-degrees Celsius (mK), typed and shown in °C or °F."""

import re
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal

from django.db import models

MINUS = "\N{MINUS SIGN}"
ABSOLUTE_ZERO = -273_150
LONGEST_TYPED = 20
NUMBER = re.compile(r"[-+]?([0-9]+[.]?[0-9]*|[.][0-9]+)", re.ASCII)


class Unit(models.TextChoices):
    CELSIUS = "C", "°C"
    FAHRENHEIT = "F", "°F"


def to_milli(value: Decimal, unit: str) -> int:
    """A temperature in °C or °F as whole milli-degrees Celsius. Rounding is monotonic, so every comparison survives it."""
    celsius = value if unit == Unit.CELSIUS else (value - 32) * 5 / 9
    return int((celsius * 1000).quantize(Decimal(1), rounding=ROUND_HALF_UP))


def difference_to_milli(value: Decimal, unit: str) -> int:
    """A temperature difference (tolerance, resolution, error) in °C or °F as milli-kelvin."""
    kelvin = value if unit == Unit.CELSIUS else value * 5 / 9
    return int((kelvin * 1000).quantize(Decimal(1), rounding=ROUND_HALF_UP))


def from_milli(milli: int, unit: str) -> Decimal:
    """Milli-degrees Celsius as an exact °C or a °F rounded to 0.001."""
    celsius = Decimal(milli) / 1000
    return celsius if unit == Unit.CELSIUS else (celsius * 9 / 5 + 32).quantize(Decimal("0.001"))


def difference_from_milli(milli: int, unit: str) -> Decimal:
    """Milli-kelvin as a difference in °C or °F."""
    kelvin = Decimal(milli) / 1000
    return kelvin if unit == Unit.CELSIUS else (kelvin * 9 / 5).quantize(Decimal("0.001"))


def rounded_up(milli: int, unit: str) -> Decimal:
    """An expanded uncertainty to two places, never smaller than it is: the one rounding of it on pages and on paper."""
    return difference_from_milli(milli, unit).quantize(Decimal("0.01"), rounding=ROUND_CEILING)


def parse(text: str) -> Decimal:
    """A number as people type it: comma or point, any minus sign. Raises ValueError saying what to type."""
    cleaned = text.strip().replace(",", ".").replace(MINUS, "-").replace("\N{EN DASH}", "-").replace(" ", "")
    if len(text.strip()) > LONGEST_TYPED:
        raise ValueError(
            f"“{text.strip()[:LONGEST_TYPED]}…” is too long for a temperature. Type what the display shows."
        )
    if not NUMBER.fullmatch(cleaned):
        raise ValueError(f"“{text.strip()}” is not a number. Type what the display shows, such as 4.6")
    value = Decimal(cleaned)
    if abs(value) > 1000:
        raise ValueError(f"“{text.strip()}” is not a temperature. Type what the display shows, such as 4.6")
    return value


def read(text: str, unit: str) -> int:
    """A temperature as people type it, in milli-degrees Celsius. Raises ValueError saying what to type."""
    milli = to_milli(parse(text), unit)
    if milli < ABSOLUTE_ZERO:
        raise ValueError(f"“{text.strip()}” is colder than anything can be. Type what the display shows, such as 4.6")
    return milli


def number(value: Decimal, digits: int = 1, *, signed: bool = False) -> str:
    """A decimal with a true minus sign; `signed` adds a plus. Zero has no sign."""
    rounded = value.quantize(Decimal(1).scaleb(-digits), rounding=ROUND_HALF_UP)
    sign = MINUS if rounded < 0 else "+" if signed and rounded > 0 else ""
    return f"{sign}{abs(rounded)}"


def show(milli: int | None, unit: str = Unit.CELSIUS, digits: int = 1) -> str:
    """A temperature for people, such as '4.6 °C'; an en dash where there is none."""
    return "–" if milli is None else f"{number(from_milli(milli, unit), digits)} {Unit(unit).label}"


def show_error(milli: int | None, unit: str = Unit.CELSIUS, digits: int = 2) -> str:
    """A signed difference for people, such as '+0.30 °C'."""
    return (
        "–"
        if milli is None
        else f"{number(difference_from_milli(milli, unit), digits, signed=True)} {Unit(unit).label}"
    )


def show_step(milli: int) -> str:
    """The step of a display in the unit in which it is a round one, such as '0.1 °C' and, of 56 mK, '0.1 °F'."""
    celsius = (Decimal(milli) / 1000).normalize()
    fahrenheit = (celsius * 9 / 5).quantize(Decimal("0.01"), rounding=ROUND_HALF_UP).normalize()
    only_there = len(celsius.as_tuple().digits) > 1 == len(fahrenheit.as_tuple().digits)
    return f"{fahrenheit:f} {Unit.FAHRENHEIT.label}" if only_there else f"{celsius:f} {Unit.CELSIUS.label}"


def show_spread(milli: int | None, unit: str = Unit.CELSIUS, digits: int = 2) -> str:
    """A half-width for people, such as '±0.12 °C'."""
    return "–" if milli is None else f"±{number(difference_from_milli(abs(milli), unit), digits)} {Unit(unit).label}"
