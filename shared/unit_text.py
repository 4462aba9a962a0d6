"""Sentences that were written in °C, in the unit of whoever reads them."""

import re
from decimal import ROUND_HALF_UP, Decimal

from .units import MINUS, Unit, number, show_step

FIGURE = re.compile(rf"([±+{MINUS}]?)(\d+(?:\.\d+)?)( to (\d+(?:\.\d+)?))? °C")
# A width or an error has no zero of its own: 0.5 °C of it are 0.9 °F, and not 32.9.
BEFORE_A_DIFFERENCE = re.compile(r"(±|\b(within|at most|Error|off by|uncertainty|give or take|room temperature,)) ?$")
# A display has one step, whoever reads of it.
STEP = re.compile(r"(?<=steps of )(\d+(?:\.\d+)?) °C")
# Sentences that were stored with a space between thousands are read with a comma, as all others.
THOUSANDS = re.compile(r"(?<=\b1 in )(\d{1,3})\xa0(?=\d{3}\b)")
AFTER_A_DIFFERENCE = re.compile(r" (colder|warmer|lower|higher|still to come|about \d)")


def in_unit(sentence: str, unit: str) -> str:
    """A sentence with its figures in °C turned into the unit; temperatures as such, widths and errors as differences, steps
    of a display as it has them."""
    if unit != Unit.CELSIUS:
        sentence = FIGURE.sub(_turned, sentence)
    sentence = THOUSANDS.sub(r"\1,", sentence)
    return STEP.sub(lambda step: show_step(round(Decimal(step[1]) * 1000)), sentence)


def _turned(found: re.Match) -> str:
    sign, first, _, last = found.groups()
    before, after = found.string[: found.start(2)], found.string[found.end() :]
    if before.endswith("steps of "):
        return found[0]
    if sign == "±" or BEFORE_A_DIFFERENCE.search(before.removesuffix(sign)) or AFTER_A_DIFFERENCE.match(after):
        return f"{sign}{_difference(first)}{f' to {_difference(last)}' if last else ''} °F"
    return f"{_temperature(first, sign)}{f' to {_temperature(last)}' if last else ''} °F"


def _difference(text: str) -> str:
    """Exact, so that no rounding makes anything look surer than it was."""
    whole = Decimal(text) * Decimal("1.8")
    usual = whole.quantize(Decimal(1).scaleb(-_decimals(text)), rounding=ROUND_HALF_UP)
    return f"{usual if usual == whole else whole}"


def _temperature(text: str, sign: str = "") -> str:
    celsius = Decimal(text) * (-1 if sign == MINUS else 1)
    return number(celsius * Decimal("1.8") + 32, _decimals(text))


def _decimals(text: str) -> int:
    return len(text.partition(".")[2])
