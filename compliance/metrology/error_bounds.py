"""The greatest error that the checks on one side of a span allow, at each true temperature.

What is known of the error at a check is its estimate and an expanded uncertainty (95 %). Elsewhere a fault makes more or
less of both (`allowances.growth`), and the error may go its own way besides, up to a limit that no check sees. The
uncertainty and the unseen part are independent, so their half-widths are combined as the root of the sum of their squares
(JCGM 100:2008, 5.1.2), at each temperature. The unseen part is a limit, of 100 %; beside an uncertainty of 95 % the whole
counts as one of 95 %. Towards both sides of a check the bound is then a convex curve. It is drawn in chords, which lie above it:
on the safe side, and less than 3 in 100 of the half-width or 3 mK away. Sums of squares of whole numbers have whole roots
(`math.isqrt`), rounded up.
"""

from bisect import bisect_right
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from math import isqrt

from .allowances import ALLOWANCES, FARTHEST_APART, GRID, LATE_BENDING, STATED_AT, bend, growth, unseen_between
from .vocabulary import Sensor

# mK from a check to the last knot; lines go on straight beyond.
_FAR = 12 * STATED_AT

# mK from a check: knots besides those of the grid, where an uncertainty of 0.05 °C or more gives way to the unseen part. They
# do not depend on the check, so that a larger uncertainty nowhere gives a narrower range.
_NEAR = (3_000, 7_000, 12_000, 20_000, 30_000, 45_000)

# mK. Knots nearer to each other would let their rounding look like a slope.
_NEAREST = 10

# Between two checked temperatures, knots in 24ths of the way, thirds of what is unseen and of the bend, and 24ths of a late
# rise: what is unseen begins at once, and a late rise lags by up to half of all.
_CORNERS = ((1, 1, 1), (3, 3, 3), (12, 3, 12), (21, 3, 12), (23, 1, 4))

# mK: checked temperatures nearer to each other than this say nothing of how the error goes on beyond them. Judgement.
_TELLS_A_SLOPE = 20_000


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorAt:
    """The error of a probe (mK, reading minus truth) with its expanded uncertainty (mK) from one check.

    `temperature` is the true temperature that it was checked at, milli-°C; `at` is an aware time.
    """

    at: datetime
    temperature: int
    error: int
    expanded: int

    @property
    def low(self) -> int:
        return self.error - self.expanded

    @property
    def high(self) -> int:
        return self.error + self.expanded


Knot = tuple[int, int]


@dataclass(frozen=True, slots=True)
class BoundLine:
    """A bound of the error over the true temperature: straight between `knots` (milli-°C, mK) and on beyond them."""

    knots: tuple[Knot, ...]

    @property
    def rising(self) -> bool:
        """Whether what is shown grows with the truth everywhere, so that a reading tells of one truth only."""
        return all(b[0] + b[1] > a[0] + a[1] for a, b in pairwise(self.knots))

    def above(self, temperature: int) -> int:
        """The bound at a true temperature (milli-°C), rounded up to whole mK."""
        return -self._floor(temperature, -1)

    def below(self, temperature: int) -> int:
        """The bound at a true temperature (milli-°C), rounded down to whole mK."""
        return self._floor(temperature, 1)

    def _floor(self, temperature: int, sign: int) -> int:
        (t0, e0), (t1, e1) = self._piece(bisect_right(self.knots, temperature, key=lambda knot: knot[0]))
        return sign * e0 + (sign * (e1 - e0) * (temperature - t0)) // (t1 - t0)

    def truth_below(self, value: int) -> int:
        """The truth (milli-°C, rounded down) that shows `value` (milli-°C) with this error."""
        return self._truth(value, 1)

    def truth_above(self, value: int) -> int:
        """The truth (milli-°C, rounded up) that shows `value` (milli-°C) with this error."""
        return -self._truth(value, -1)

    def _truth(self, value: int, sign: int) -> int:
        (t0, e0), (t1, e1) = self._piece(bisect_right(self.knots, value, key=lambda knot: knot[0] + knot[1]))
        shown = t1 + e1 - t0 - e0
        return sign * t0 + (sign * (value - t0 - e0) * (t1 - t0)) // shown

    def _piece(self, index: int) -> tuple[Knot, Knot]:
        inside = min(max(index, 1), len(self.knots) - 1)
        return self.knots[inside - 1], self.knots[inside]


def highest(side: tuple[ErrorAt, ...], sensor: Sensor) -> BoundLine:
    """The greatest error that the checks on one side allow.

    Args:
        side: what each check found, mK, each at another temperature.
        sensor: the kind of sensor (no unit).

    Returns:
        The bound over the true temperature, on the safe side of the exact one.

    Raises:
        ValueError: if a check was made at or below absolute zero.
    """
    points = sorted(side, key=lambda point: point.temperature)
    knots = _beyond(points[0], points[1:2], sensor, -1)[::-1]
    for here, there in pairwise(points):
        knots += [(here.temperature, here.high), *_between(here, there, sensor)]
    last = points[-1]
    return BoundLine((*knots, (last.temperature, last.high), *_beyond(last, points[-2:-1], sensor, 1)))


def lowest(side: tuple[ErrorAt, ...], sensor: Sensor) -> BoundLine:
    """The least error that the checks on one side allow; as `highest`, with all signs changed."""
    negative = (ErrorAt(at=p.at, temperature=p.temperature, error=-p.error, expanded=p.expanded) for p in side)
    return BoundLine(tuple((t, -e) for t, e in highest(tuple(negative), sensor).knots))


def _beyond(point: ErrorAt, neighbour: list[ErrorAt], sensor: Sensor, sign: int) -> list[Knot]:
    """Outward from the outermost check; as fast as a slope that two checks show, if that is steeper."""
    knots = _outward(point, sensor, sign, _FAR)
    for other in neighbour:
        apart = abs(other.temperature - point.temperature)
        if apart >= _TELLS_A_SLOPE:
            steep = abs(point.error - other.error)
            knots = [(t, max(e, point.high + _ceil_div(steep * abs(t - point.temperature), apart))) for t, e in knots]
    return knots


def _outward(point: ErrorAt, sensor: Sensor, sign: int, far: int) -> list[Knot]:
    """What one check alone allows, at knots up to `far` (mK) away."""
    here, knots, last = point.temperature, [], 0
    for away in sorted({*_NEAR, *(sign * (t - here) for t in GRID)}):
        if last + _NEAREST <= away <= far - _NEAREST:
            knots.append((here + sign * away, _alone(point, sensor, here + sign * away)))
            last = away
    return [*knots, (here + sign * far, _alone(point, sensor, here + sign * far))]


def _alone(point: ErrorAt, sensor: Sensor, temperature: int) -> int:
    """The greatest error that one check allows at a temperature.

    It is convex in the growth, so that it is greatest at one end of it.
    """
    unseen = ALLOWANCES[sensor] * abs(temperature - point.temperature)
    return max(_grown(point, ratio, unseen) for ratio in growth(sensor, point.temperature, temperature))


def _grown(point: ErrorAt, ratio: tuple[int, int], unseen: int) -> int:
    """Error and uncertainty times the ratio, with `unseen` (mK times STATED_AT)."""
    there, here = ratio
    spread = _root((point.expanded * there * STATED_AT) ** 2 + (unseen * here) ** 2)
    return _ceil_div(point.error * there * STATED_AT + spread, here * STATED_AT)


def _between(here: ErrorAt, there: ErrorAt, sensor: Sensor) -> list[Knot]:
    """Knots between two checked temperatures: along the line from one to the other, and above it as far as it may bend.

    The uncertainties of the two may come from one reference, so they are not taken as independent of each other.
    """
    apart = there.temperature - here.temperature
    if apart > FARTHEST_APART:
        return _apart(here, there, sensor)
    if apart < 24 * _NEAREST:
        return []
    largest = max(abs(e) for point in (here, there) for e in (point.low, point.high))
    differ = abs(here.error - there.error) + here.expanded + there.expanded
    unseen, curved = unseen_between(sensor, apart), bend(sensor, largest, differ, apart)
    knots = []
    for on, thirds, late in _CORNERS:
        weights = (on, on - late) if sensor in LATE_BENDING else (on,)
        along = max(_weighted(here, there, weight, 8 * thirds * unseen) for weight in weights)
        knots.append((here.temperature + apart * on // 24, _ceil_div(along + 8 * thirds * curved, 24)))
    return knots


def _weighted(here: ErrorAt, there: ErrorAt, weight: int, unseen: int) -> int:
    """24 times the greatest error on the straight line, with `unseen` (24ths of a mK), `weight` 24ths of the way."""
    spread = _root((here.expanded * (24 - weight) + there.expanded * weight) ** 2 + unseen**2)
    return here.error * (24 - weight) + there.error * weight + spread


def _apart(here: ErrorAt, there: ErrorAt, sensor: Sensor) -> list[Knot]:
    """So far from each other that each speaks alone, for its half of the way."""
    half = (there.temperature - here.temperature) // 2
    up, down = _outward(here, sensor, 1, half), _outward(there, sensor, -1, there.temperature - here.temperature - half)
    middle = (up[-1][0], max(up[-1][1], down[-1][1]))
    return [*up[:-1], middle, *down[-2::-1]]


def _root(square: int) -> int:
    return isqrt(square - 1) + 1 if square else 0


def _ceil_div(numerator: int, denominator: int) -> int:
    return -(-numerator // denominator)
