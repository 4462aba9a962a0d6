"""Timed readings of a display, as they were typed."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite

LONGEST_SERIES = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class TimedValue:
    """What the display showed (°C), when (s since the probe went in), and whether it was typed in °F."""

    elapsed: float
    value: float
    fahrenheit: bool = False


def check_readings(readings: Sequence[TimedValue], resolution: float) -> None:
    """Refuse what cannot be.

    Args:
        readings: at most 200; elapsed times in s, 0 to 7200, and displayed values in °C, -100 to 400.
        resolution: the step of the display in °C, 0.001 to 5.

    Raises:
        ValueError: for values out of these ranges, saying what to do.
    """
    if len(readings) > LONGEST_SERIES:
        raise ValueError(f"A check takes up to {LONGEST_SERIES} readings; this one has {len(readings)}.")
    if not 0.001 <= resolution <= 5:
        raise ValueError("Give the step of the display, from 0.001 to 5 °C.")
    for reading in readings:
        if not (isfinite(reading.elapsed) and 0 <= reading.elapsed <= 7200):
            raise ValueError("Give the time of each reading in seconds since the probe went in, from 0 to 7200.")
        if not (isfinite(reading.value) and -100 <= reading.value <= 400):
            raise ValueError("A reading must lie between -100 and 400 °C. Was the decimal point left out?")


def in_order(readings: Sequence[TimedValue]) -> list[TimedValue]:
    """By time."""
    return sorted(readings, key=lambda reading: (reading.elapsed, reading.value))
