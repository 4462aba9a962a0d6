"""An early warning: a control chart that shows a probe moving long before it leaves tolerance."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, isfinite, sqrt

import numpy as np

from .drift import FEWEST_POINTS, ErrorPoint, check_points


@dataclass(frozen=True, slots=True, kw_only=True)
class Ewma:
    """A control chart of moving averages: one average and one pair of limits a value, in the unit of the values.

    `signal` is the position of the first average outside its limits, None if all are inside. `lowest` and `highest`
    are the limits that are approached in the long run.
    """

    averages: tuple[float, ...]
    lower: tuple[float, ...]
    upper: tuple[float, ...]
    lowest: float
    highest: float
    signal: int | None


def ewma(values: Sequence[float], target: float, sigma: float, weight: float = 0.3, width: float = 3.0) -> Ewma:
    """The exponentially weighted moving average of values, with limits that widen as it forgets its start.

    Args:
        values: in one unit, for instance °C.
        target: where they should lie, same unit; the average starts there.
        sigma: standard deviation of one value, same unit, above zero.
        weight: of the newest value (λ), above 0 and at most 1.
        width: of the limits (L), in standard deviations of the average, above 0.

    Raises:
        ValueError: for values that are not finite or out of range.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4; limits that vary with time: D. C. Montgomery,
    Introduction to Statistical Quality Control, equations for the EWMA chart (from memory).
    """
    if not all(map(isfinite, (*values, target))):
        raise ValueError("Give the values and the target as finite numbers.")
    if not (0 < sigma < inf and 0 < weight <= 1 and 0 < width < inf):
        raise ValueError("Give sigma and the width above zero, and the weight above 0 and at most 1.")
    averages, average = [], target
    for value in values:
        average = weight * value + (1 - weight) * average
        averages.append(average)
    final = width * sigma * sqrt(weight / (2 - weight))
    reach = [final * sqrt(1 - (1 - weight) ** (2 * count)) for count in range(1, len(values) + 1)]
    outside = (n for n, (value, room) in enumerate(zip(averages, reach, strict=True)) if abs(value - target) > room)
    return Ewma(
        averages=tuple(averages),
        lower=tuple(target - room for room in reach),
        upper=tuple(target + room for room in reach),
        lowest=target - final,
        highest=target + final,
        signal=next(outside, None),
    )


def early_warning(points: Sequence[ErrorPoint], since: int = 0) -> int | None:
    """The first point at which a probe has moved from where it stood, long before it leaves tolerance.

    Each error is compared with the mean of those before it since the last adjustment, in units of its standard
    uncertainty; so no target need be known, and an error that stands still gives independent values of spread one.

    Args:
        points: any number, in order of time; days, °C, °C.
        since: position of the first point to count, from 0; later adjustments count by themselves.

    Returns:
        The position of that point, None for no warning since the last adjustment.

    Raises:
        ValueError: for points out of order or out of range.

    Source: NIST/SEMATECH e-Handbook 6.3.2.4 with λ 0.3 and L 3, over recursive residuals (R. L. Brown, J. Durbin and
    J. M. Evans, 1975; from memory).
    """
    check_points(points)
    start = max([since, *(n for n, point in enumerate(points) if point.after_adjustment)])
    errors = np.array([point.error for point in points[start:]])
    if len(errors) < FEWEST_POINTS:
        return None
    before = np.arange(1, len(errors))
    means = np.cumsum(errors)[:-1] / before
    standards = np.array([point.standard for point in points[start + 1 :]])
    chart = ewma(((errors[1:] - means) / (standards * np.sqrt(1 + 1 / before))).tolist(), 0.0, 1.0)
    return None if chart.signal is None else start + 1 + chart.signal
