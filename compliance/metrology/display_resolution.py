"""What a display of whole digits leaves open: its rounding, and how the settled readings scatter."""

from collections.abc import Sequence
from math import sqrt
from statistics import fmean, stdev

from .uncertainty import Component, digit, normal, rectangular

UNSEEN_SCATTER = 0.18  # digits, standard deviation of one reading, that equal digits may hide; judgement
LONE_SCATTER = 0.3  # digits, the same where there is one reading only, which shows nothing of its scatter; judgement
LARGEST_FLICKER = 0.5  # digits, standard deviation of readings that flicker between two digits; judgement

# Percent of a digit: 1.96 standard deviations of one reading, √(1/12 + LONE_SCATTER²) digits, rounded up.
_ONE_READING = 82


def reading_half_width(resolution: int) -> int:
    """How far a single reading may be off by its rounding and its scatter, mK at 95 %, rounded up.

    Args:
        resolution: the step of the display, mK.

    Raises:
        ValueError: for a step below zero.

    Source: half a step is rectangular (JCGM 100:2008, F.2.2.1); the scatter is judgement, as that of a lone reading of a check.
    """
    if resolution < 0:
        raise ValueError("Give the step of the display in mK, zero or more.")
    return -(-_ONE_READING * resolution // 100)


def display_components(settled: Sequence[float], resolution: float) -> tuple[Component, ...]:
    """The lines `display` and `repeatability` of the budget of the mean of settled readings, °C.

    Args:
        settled: one or more readings in °C that show one digit or flicker between two.
        resolution: the step of the display in °C, above zero.

    Raises:
        ValueError: without readings, or for a resolution not above zero.

    Source: JCGM 100:2008 F.2.2.1 for equal digits, 4.2.3 for the scatter; the rest as the functions below say.
    """
    if not settled or not resolution > 0:
        raise ValueError("Give at least one settled reading in °C, and a step of the display above zero.")
    return (_rounding(settled, resolution), _scatter(settled, resolution))


def _rounding(settled: Sequence[float], resolution: float) -> Component:
    """Equal digits leave the truth anywhere within half a digit. A flicker shows that it is near the edge between two.

    The nearer, the more evenly both are seen: with hardly any noise the mean of n readings, k of them the upper digit, is
    off by up to |k/n - 1/2| digits. The share is taken by Laplace's rule of succession as (k + 1)/(n + 2); that the line
    then holds is shown by the study of checks.
    """
    if len(set(settled)) == 1:
        return digit("display", resolution, f"the display shows steps of {resolution:g} °C")
    count = len(settled)
    off = abs(fmean(settled) - (min(settled) + max(settled)) / 2) * count / (count + 2)
    return rectangular("display", off, f"the display flickers between two steps of {resolution:g} °C")


def _scatter(settled: Sequence[float], resolution: float) -> Component:
    """Repeatability of the mean: of equal digits, what they may hide; of a flicker, what was seen.

    Equal digits are no evidence that nothing scatters. The scatter of a flicker between two digits is bounded, so that a
    few readings of it are not uncertain without limit, as a free scatter of few degrees of freedom would be.
    """
    count = len(settled)
    counted = "one settled reading" if count == 1 else f"{count} settled readings"
    if len(set(settled)) == 1:
        unseen = LONE_SCATTER if count == 1 else UNSEEN_SCATTER / sqrt(count)
        return normal("repeatability", unseen * resolution, f"scatter that {counted} may hide")
    seen = min(stdev(settled), LARGEST_FLICKER * resolution)
    return normal("repeatability", seen / sqrt(count), f"scatter of {counted} that flicker")
