"""What the readings in a quarantined span could really have been, and whether the limit still held.

Everything is in whole milli-degrees Celsius (mK for differences). The error of a probe is what it reads minus the truth,
and it depends on the true temperature: known where it was checked, and elsewhere as far as the physics of its sensor lets it
differ (`allowances`, `sensor_faults`). What a check says is right at 95 %, and so are the bounds that follow from it
(`error_bounds`): "whatever the error" below means any error within them.

A reading shows t + e(t) at the truth t. Where t + e(t) grows with t, a limit L can be asked at L alone: the truth was at
least L whatever the error exactly where the reading is at least L + the greatest error there. That needs no knowledge of
the truth, is exact in whole numbers, and is a comparison of a reading with a constant, which a database does as well.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from .display_resolution import reading_half_width
from .error_bounds import BoundLine, ErrorAt, highest, lowest
from .vocabulary import Direction, Outcome, Sensor

_TICK = timedelta(microseconds=1)

# Beyond every reading that can be stored.
EVER = 2**31


@dataclass(frozen=True, slots=True, kw_only=True)
class Bracket:
    """What is known of the error on either side of a span, at one temperature or several; empty: no check speaks for it.

    The first of each side is the check that ends the span there; its time is that of the side. `resolution` is the step of
    the display (mK), by which each reading between is rounded.
    """

    start: tuple[ErrorAt, ...]
    end: tuple[ErrorAt, ...]
    sensor: Sensor
    resolution: int


@dataclass(frozen=True, slots=True)
class ErrorBounds:
    """Least and greatest error of a reading during a span as lines over the true temperature, one of each from either side.

    Both are empty where nothing bounds the error.
    """

    lows: tuple[BoundLine, ...] = ()
    highs: tuple[BoundLine, ...] = ()

    def at(self, temperature: int) -> tuple[int, int] | None:
        """The least and the greatest error (mK, rounded outward) at a true temperature (milli-°C); None: not bounded."""
        if not self.highs:
            return None
        return min(line.below(temperature) for line in self.lows), max(line.above(temperature) for line in self.highs)


def bounds(bracket: Bracket) -> ErrorBounds:
    """At each temperature the error lay between the least and the greatest that either side allows there, at 95 %.

    That covers any drift in one direction, steady or sudden, and the rounding and scatter of the reading itself. A side without a
    check that sees what its sensor may have leaves the error unbounded.

    Args:
        bracket: the errors on both sides and the step of the display, mK, and the kind of sensor.

    Returns:
        The bounds as lines over the true temperature.

    Raises:
        ValueError: if an uncertainty or the step is negative, a side gives one temperature twice, or the sides are in the wrong
            order.
    """
    sides = bracket.start, bracket.end
    for side in sides:
        _check(side)
    if not all(sides):
        return ErrorBounds()
    if bracket.start[0].at > bracket.end[0].at:
        raise ValueError("The check at the start is later than the one at the end: swap them.")
    own = reading_half_width(bracket.resolution)
    highs = tuple(line for side in sides if (line := highest(side, bracket.sensor, own)))
    lows = tuple(line for side in sides if (line := lowest(side, bracket.sensor, own)))
    return ErrorBounds(lows, highs) if len(highs) == len(sides) else ErrorBounds()


def _check(side: tuple[ErrorAt, ...]) -> None:
    if any(point.expanded < 0 for point in side):
        raise ValueError("An uncertainty is a half-width: give it as zero or more, in mK.")
    if len({point.temperature for point in side}) < len(side):
        raise ValueError("The error at one temperature is given twice for one side: give the check that counts.")


def true_range(value: int, bounds: ErrorBounds) -> tuple[int, int] | None:
    """Between which temperatures the truth lay.

    Args:
        value: the reading, milli-°C.
        bounds: the error during the span, mK.

    Returns:
        The coldest and the hottest that it can have been, milli-°C, rounded outward; None where the error is not
        bounded. Because of the rounding an end that equals a limit does not tell whether it was broken: `classify` does.
    """
    if not bounds.highs:
        return None
    coldest = min(line.truth_below(value) for line in bounds.highs)
    return coldest, max(line.truth_above(value) for line in bounds.lows)


def likely(value: int, at: datetime, bracket: Bracket) -> int | None:
    """The likely truth of a reading: the error drifted in a straight line from one side to the other.

    On each side it lies along the line between the checked temperatures, and stays as it is beyond them. A side that was
    checked at one temperature only takes the shape of the other, since a shift is more common than a change of shape.

    Args:
        value: the reading, milli-°C.
        at: when it was taken (an aware time).
        bracket: the errors on both sides, mK.

    Returns:
        Milli-°C, the error rounded half up. With one side known only its error is taken as it was; None with none.

    Raises:
        ValueError: if `at` lies outside the two sides.
    """
    start, end = bracket.start, bracket.end
    if not (start and end):
        known = start or end
        return value - _round(*_along(value, known)) if known else None
    first, last = start[0].at, end[0].at
    if not first <= at <= last:
        raise ValueError("The reading was not taken between the two checks: look up the span that it falls in.")
    (e0, per0), (e1, per1) = _along(value, start, end), _along(value, end, start)
    whole, part = ((last - first) // _TICK, (at - first) // _TICK) if last > first else (1, 1)
    return value - _round(e0 * per1 * (whole - part) + e1 * per0 * part, per0 * per1 * whole)


def _along(value: int, side: tuple[ErrorAt, ...], other: tuple[ErrorAt, ...] = ()) -> tuple[int, int]:
    """The error of one side at what is shown, as a fraction in mK."""
    if len(side) == 1 < len(other):
        (shape, per), (there, per_there) = _along(value, other), _along(side[0].temperature, other)
        return side[0].error * per * per_there + shape * per_there - there * per, per * per_there
    points = sorted(side, key=lambda point: point.temperature)
    value = min(max(value, points[0].temperature), points[-1].temperature)
    for here, there_point in pairwise(points):
        if value <= there_point.temperature:
            apart = there_point.temperature - here.temperature
            gone = value - here.temperature
            return here.error * apart + (there_point.error - here.error) * gone, apart
    return points[-1].error, 1


def _round(numerator: int, denominator: int) -> int:
    return (2 * numerator + denominator) // (2 * denominator)


@dataclass(frozen=True, slots=True)
class DecisionRanges:
    """Which readings (milli-°C, both ends included) tell that a limit held, and which that it was broken."""

    held_from: int
    held_to: int
    broken_from: int
    broken_to: int

    def of(self, value: int) -> Outcome:
        """What a reading (milli-°C) tells."""
        if self.held_from <= value <= self.held_to:
            return Outcome.HELD
        return Outcome.BROKEN if self.broken_from <= value <= self.broken_to else Outcome.UNDECIDED


def telling(limit: int | None, direction: Direction, bounds: ErrorBounds, missed: int | None = None) -> DecisionRanges:
    """The readings that tell of a limit whatever the error. A temperature that equals the limit keeps it.

    Args:
        limit: the temperature that surely keeps the limit, milli-°C; None: none does.
        direction: which side of it is safe (no unit).
        bounds: the error during the span, mK.
        missed: the temperature that must be passed to break it surely, milli-°C, where that is another one (a time that
            it was held is worth a temperature within limits only); None: the limit.

    Returns:
        Two ranges of readings; none tells anything where the error is not bounded.

    Raises:
        ValueError: if `missed` lies on the safe side of `limit`, so that one reading could tell both, or if both are None.
    """
    held_from, held_to, broken_from, broken_to = 1, 0, 1, 0
    at_least, missed = direction is Direction.AT_LEAST, limit if missed is None else missed
    if missed is None:
        raise ValueError("Give the limit, or what surely breaks it.")
    if limit is not None and missed != limit and (missed > limit) is at_least:
        raise ValueError("What surely breaks a limit cannot be on its safe side: swap the two temperatures.")
    if limit is not None and (error := bounds.at(limit)):
        held_from, held_to = (limit + error[1], EVER) if at_least else (-EVER, limit + error[0])
    if error := bounds.at(missed):
        broken_from, broken_to = (-EVER, missed + error[0] - 1) if at_least else (missed + error[1] + 1, EVER)
    return DecisionRanges(held_from, held_to, broken_from, broken_to)


def classify(
    value: int, limit: int | None, direction: Direction, bounds: ErrorBounds, missed: int | None = None
) -> Outcome:
    """Whether a limit held whatever the error, was broken whatever the error, or cannot be told.

    Args:
        value: the reading, milli-°C.
        limit, direction, bounds, missed: as for `telling`, milli-°C and mK.

    Returns:
        The outcome; undecided where the error is not bounded.

    Raises:
        ValueError: as `telling`.
    """
    return telling(limit, direction, bounds, missed).of(value)


def in_time(outcome: Outcome, since_start_s: int | None, within_s: int | None) -> Outcome:
    """What is left of an outcome where a temperature must be reached within a time.

    A temperature kept too late does not tell whether it was reached in time, and one not yet kept before the time is up is
    only on its way. Where the time was not recorded, either may be so.

    Args:
        outcome: what the temperature alone tells (no unit).
        since_start_s: the time since cooling or heating began, s; None: not recorded, and nothing can be told.
        within_s: the time allowed, s; None: none is set, and nothing changes.

    Raises:
        ValueError: if a time is negative.
    """
    if within_s is None:
        return outcome
    if since_start_s is None:
        return Outcome.UNDECIDED
    if min(since_start_s, within_s) < 0:
        raise ValueError("A time since the start is 0 s or more.")
    late, up = since_start_s > within_s, since_start_s >= within_s
    told = (outcome is Outcome.HELD and not late) or (outcome is Outcome.BROKEN and up)
    return outcome if told else Outcome.UNDECIDED
