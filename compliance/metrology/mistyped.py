"""Readings that were probably typed with a wrong sign, a misplaced decimal point or in another unit. It is asked, not changed."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import inf

from .timed import TimedValue, check_readings, in_order

APART = 2.5  # digits between an outlier and its neighbours before it is asked about, judgement
FITS = 1.5  # digits by which what was meant may differ from its neighbours, judgement
MOST = 3  # readings asked about; more are no slips of the finger, judgement
NEAR = 3.0  # °C from the reference within which a number makes sense in the other unit, judgement
FAR = 10.0  # °C from it beyond which it makes none as it was typed, judgement
ONWARDS = 1.5  # times the last step that a series may go on by, judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspect:
    """One reading out of line with its neighbours, and what would be in line.

    `number` counts from 1 in the order of time; `shown` and `meant` are as typed, in the unit it was typed in (°C, or °F
    where the reading says so); `sentence` asks about it.
    """

    number: int
    elapsed: float
    shown: float
    meant: float
    sentence: str


def find_mistyped(readings: Sequence[TimedValue], resolution: float) -> tuple[Suspect, ...]:
    """Up to three readings that fit in once their sign is flipped or their decimal point moved by one place.

    Args:
        readings: 0 to 200, in any order; elapsed times in s, 0 to 7200, and values in °C, -100 to 400.
        resolution: the step of the display in °C, 0.001 to 5.

    Returns:
        The suspects in the order of time. Fewer than four readings are too few to tell a slip from a fall.

    Raises:
        ValueError: for values out of these ranges.

    Source: judgement. A reading is out of line when it lies 2.5 digits beyond both neighbours, or beyond where its two
    neighbours on one side lead.
    """
    check_readings(readings, resolution)
    series, found = in_order(readings), dict[int, Suspect]()
    while len(series) >= 4 and len(found) <= MOST:
        slips = [slip for i in range(len(series)) if i not in found and (slip := _slip(series, i, resolution))]
        if not slips:
            break
        index, meant = max(slips, key=lambda slip: _calmer(series, *slip))
        found[index] = _suspect(series[index], index, meant)
        series[index] = replace(series[index], value=meant)
    return tuple(found[index] for index in sorted(found)) if len(found) <= MOST else ()


def suggests_other_unit(shown: float, fahrenheit: bool, reference: float, before: float | None = None) -> bool:
    """Whether a number makes sense only if the display shows the other unit: 32 taken for °C in ice, 100 for °F at boiling.

    Args:
        shown: the number as it was typed, -1000 to 1000, in °F if `fahrenheit`, else in °C.
        fahrenheit: the unit that it was taken for.
        reference: the temperature around the probe in °C, -100 to 400.
        before: the reading before it in °C, if its unit is known: a fall may pass such a number.

    Raises:
        ValueError: for values out of these ranges.

    Source: judgement. In the other unit it lies within 3 °C of the reference, and as typed more than 10 °C away from it.
    """
    if not (-1000 <= shown <= 1000 and -100 <= reference <= 400):
        raise ValueError("Give the number as it was typed, and the reference from -100 to 400 °C.")
    celsius, converted = shown, (shown - 32) / 1.8
    typed, other = (converted, celsius) if fahrenheit else (celsius, converted)
    if abs(other - reference) > NEAR or abs(typed - reference) <= FAR:
        return False
    return before is None or abs(other - before) < abs(typed - before)


def suggests_converted(shown: float, fahrenheit: bool, reference: float) -> bool:
    """Whether a number looks like 0 shown in ice that somebody turned from °F into °C: −17.8.

    Args:
        shown: the number as it was typed, -1000 to 1000, in °F if `fahrenheit`, else in °C.
        fahrenheit: the unit that it was taken for.
        reference: the temperature around the probe in °C, -100 to 400.

    Raises:
        ValueError: for values out of these ranges.

    Source: judgement. Turned back it is within 3 of zero; in ice only, since boiling probes pass such numbers on their way.
    """
    if not (-1000 <= shown <= 1000 and -100 <= reference <= 400):
        raise ValueError("Give the number as it was typed, and the reference from -100 to 400 °C.")
    return not fahrenheit and abs(reference) <= NEAR and abs(shown * 1.8 + 32 - reference) <= NEAR


def _slip(series: list[TimedValue], index: int, resolution: float) -> tuple[int, float] | None:
    """The value (°C) that would fit in better at this place, if the one typed does not."""
    low, high = _between(series, index)
    value = series[index].value
    off = max(low - value, value - high)
    if off < APART * resolution:
        return None
    for meant in _variants(series[index], resolution):
        if low - FITS * resolution <= meant <= high + FITS * resolution:
            return index, meant
    return None


def _between(series: list[TimedValue], index: int) -> tuple[float, float]:
    """What its neighbours leave room for, °C: between them, or on from the last two where it stands at an end."""
    if 0 < index < len(series) - 1:
        one, other = series[index - 1].value, series[index + 1].value
        return min(one, other), max(one, other)
    near, far, further = (series[i] for i in ((1, 2, 3) if index == 0 else (-2, -3, -4)))
    step = near.value - far.value
    if step * (far.value - further.value) < 0:  # they lead nowhere
        return -inf, inf
    if index == 0:  # a fall is the steeper, the earlier it is
        return (near.value, max(near.value, 60.0)) if step >= 0 else (min(near.value, -40.0), near.value)
    pace = abs(series[-1].elapsed - near.elapsed) / max(abs(near.elapsed - far.elapsed), 1.0)
    ahead = near.value + ONWARDS * step * min(pace, 2.0)
    return min(near.value, ahead), max(near.value, ahead)


def _variants(reading: TimedValue, resolution: float) -> list[float]:
    """What may have been meant, °C: the other sign, and the decimal point one place to the left or right."""
    typed = _typed(reading)
    step = round(resolution * 1.8, 2) if reading.fahrenheit else resolution
    meant = [-typed, typed / 10, typed * 10, -typed / 10, -typed * 10]
    whole = [round(number, 6) for number in meant if abs(number / step - round(number / step)) < 0.05]
    celsius = [(number - 32) / 1.8 if reading.fahrenheit else number for number in whole]
    return [value for value in celsius if -100 <= value <= 400]


def _typed(reading: TimedValue) -> float:
    """Thousandths of a °C are what is kept; tenths of a °F come back whole."""
    return round(reading.value * 1.8 + 32, 2) if reading.fahrenheit else reading.value


def _calmer(series: list[TimedValue], index: int, meant: float) -> float:
    """By how much less the series goes up and down with what was meant, °C."""
    values = [reading.value for reading in series]
    calmed = [*values[:index], meant, *values[index + 1 :]]
    return _travel(values) - _travel(calmed)


def _travel(values: list[float]) -> float:
    return sum(abs(after - before) for before, after in pairwise(values))


def _suspect(reading: TimedValue, index: int, meant: float) -> Suspect:
    shown, fits = _typed(reading), _typed(replace(reading, value=meant))
    sentence = f"Reading {index + 1} shows {_plain(shown)} at {reading.elapsed:.0f} s; was {_plain(fits)} meant?"
    return Suspect(number=index + 1, elapsed=reading.elapsed, shown=shown, meant=fits, sentence=sentence)


def _plain(number: float) -> str:
    return f"{round(number, 2):g}".replace("-", "\N{MINUS SIGN}")
