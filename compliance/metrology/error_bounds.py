"""The greatest error that the checks on one side of a span allow, at each true temperature.

What is known of the error at a check is its estimate and an expanded uncertainty (95 %). Elsewhere a fault makes more or
less of both (`sensor_faults.carried`), and the error may go its own way besides, up to a limit that no check sees. A single
reading is also rounded by its display, and scatters. The uncertainty, the unseen part and the reading's own are independent, so
their half-widths are combined as the root of the sum of their squares (JCGM 100:2008, 5.1.2), at each temperature. The
unseen part is a limit, of 100 %; beside an uncertainty of 95 % the whole counts as one of 95 %. Towards both sides of a check
the bound is then a convex curve. It is drawn in chords, which lie above it: on the safe side, and less than a tenth of the
half-width or 3 mK away (of a thermocouple from 18 °C to 32 °C up to a sixth), but for a resistance beside a thermistor. Sums of
squares of whole numbers have whole roots (`math.isqrt`), rounded up.

Where a fault may make a display hardly move, or run back, with the temperature, a bound is kept rising, on the safe side: what
is shown then tells of one truth on that side only.
"""

from bisect import bisect_right
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from itertools import pairwise
from math import isqrt

from .allowances import ALLOWANCES, EARLY_BENDING, FARTHEST_APART, LATE_BENDING, STATED_AT, bend, unseen_between
from .sensor_faults import BLIND, GRID, ROOM_CHANGES_BY, WITH_GAIN, carried
from .vocabulary import Sensor

# mK from a check to the last knot; lines go on straight beyond.
_FAR = 12 * STATED_AT

# mK from a check: knots besides those of the grid, where an uncertainty of 0.05 °C or more gives way to the unseen part. They
# do not depend on the check, so that a larger uncertainty nowhere gives a narrower range.
_NEAR = (3_000, 7_000, 12_000, 20_000, 30_000, 45_000)

# Milli-°C: besides those of the grid, where food is. A resistance beside a thermistor bends so much that chords of 20 K would be
# 15 in 100 off.
_OF_FOOD = range(-50_000, 150_001, 20_000)

# mK. Knots nearer to each other would let their rounding look like a slope.
_NEAREST = 10

# Between two checked temperatures, knots in 24ths of the way, thirds of what is unseen and of the bend, and 24ths of a late
# rise: what is unseen begins at once, and a late rise lags by up to half of all. An early one leads as much, from the other end.
_CORNERS = ((1, 1, 1), (3, 3, 3), (6, 3, 6), (12, 3, 12), (18, 3, 12), (21, 3, 12), (23, 1, 4))

# mK: checked temperatures nearer to each other than this say nothing of how the error goes on beyond them. Judgement.
_TELLS_A_SLOPE = 20_000


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundError:
    """The error of a probe (mK, reading minus truth) with its expanded uncertainty (mK) from one check.

    `temperature` is the true temperature that it was checked at, milli-°C.
    """

    temperature: int
    error: int
    expanded: int

    @property
    def low(self) -> int:
        return self.error - self.expanded

    @property
    def high(self) -> int:
        return self.error + self.expanded


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorAt(FoundError):
    """The same with its time: `at` is an aware time."""

    at: datetime


Knot = tuple[int, int]


@dataclass(frozen=True, slots=True)
class BoundLine:
    """A bound of the error over the true temperature: straight between `knots` (milli-°C, mK) and on beyond them."""

    knots: tuple[Knot, ...]

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


@dataclass(frozen=True, slots=True)
class _Wanted:
    """Of which sensor, with what half-width of a reading's own (mK), the greatest error (1) or the least, negated (-1)."""

    sensor: Sensor
    own: int
    sign: int


def highest(side: tuple[ErrorAt, ...], sensor: Sensor, own: int) -> BoundLine | None:
    """The greatest error that the checks on one side allow.

    Args:
        side: what each check found, mK, each at another temperature.
        sensor: the kind of sensor (no unit).
        own: the half-width of what is a reading's own, its rounding and scatter, mK (95 %).

    Returns:
        The bound over the true temperature, on the safe side of the exact one. None where no check sees what its sensor may have.

    Raises:
        ValueError: if a check was made at or below absolute zero.
    """
    return _line(_found(side, 1), _Wanted(sensor, own, 1))


def lowest(side: tuple[ErrorAt, ...], sensor: Sensor, own: int) -> BoundLine | None:
    """The least error that the checks on one side allow; as `highest`."""
    return _line(_found(side, -1), _Wanted(sensor, own, -1))


def _found(side: tuple[ErrorAt, ...], sign: int) -> tuple[FoundError, ...]:
    return tuple(FoundError(temperature=p.temperature, error=sign * p.error, expanded=p.expanded) for p in side)


@lru_cache(1024)
def _line(side: tuple[FoundError, ...], wanted: _Wanted) -> BoundLine | None:
    """What was found does not change, and the pages of a case ask for it again and again."""
    knots = _bound(side, wanted)
    if not knots:
        return None
    if wanted.sign > 0:
        return BoundLine(_kept_rising(knots))
    turned = _kept_rising([(-t, e) for t, e in knots[::-1]])
    return BoundLine(tuple((-t, -e) for t, e in turned[::-1]))


def _kept_rising(knots: list[Knot]) -> tuple[Knot, ...]:
    """Raised where what is shown would not grow with the truth: no colder truth then shows more."""
    kept: list[Knot] = []
    for t, e in knots:
        kept.append((t, max(e, sum(kept[-1]) + 1 - t) if kept else e))
    return tuple(kept)


def _bound(side: tuple[FoundError, ...], wanted: _Wanted) -> list[Knot]:
    blind = BLIND if wanted.sensor in WITH_GAIN else ()
    points = sorted((p for p in side if p.temperature not in blind), key=lambda point: point.temperature)
    if not points:
        return []
    knots = _beyond(points[0], points[1:2], wanted, -1)[::-1]
    before = 0
    for here, there in pairwise(points):
        room = _room(here, there, wanted.sensor)
        knots += [_at_check(here, wanted, max(before, room)), *_between(here, there, wanted)]
        before = room
    last = points[-1]
    return [*knots, _at_check(last, wanted, before), *_beyond(last, points[-2:-1], wanted, 1)]


def _at_check(point: FoundError, wanted: _Wanted, room: int = 0) -> Knot:
    return point.temperature, _alone(point, wanted, point.temperature) + room


def _room(here: FoundError, there: FoundError, sensor: Sensor) -> int:
    """A gain moves all errors as far as the instrument's own temperature moved them along the slope that two checks show."""
    if sensor not in WITH_GAIN:
        return 0
    return _ceil_div(1000 * ROOM_CHANGES_BY * _differ(here, there), abs(there.temperature - here.temperature))


def _differ(here: FoundError, there: FoundError) -> int:
    return abs(here.error - there.error) + here.expanded + there.expanded


def _beyond(point: FoundError, neighbour: list[FoundError], wanted: _Wanted, sign: int) -> list[Knot]:
    """Outward from the outermost check; as fast as a slope that two checks show, if that is steeper."""
    knots = _outward(point, wanted, sign, _FAR)
    for other in neighbour:
        apart = abs(other.temperature - point.temperature)
        if apart >= _TELLS_A_SLOPE:
            steep, (_, from_here) = abs(point.error - other.error), _at_check(point, wanted)
            knots = [(t, max(e, from_here + _ceil_div(steep * abs(t - point.temperature), apart))) for t, e in knots]
    return knots


def _outward(point: FoundError, wanted: _Wanted, sign: int, far: int) -> list[Knot]:
    """What one check alone allows, at knots up to `far` (mK) away."""
    here, knots, last = point.temperature, [], 0
    for away in sorted({*_NEAR, *(sign * (t - here) for t in (*GRID, *_OF_FOOD))}):
        if last + _NEAREST <= away <= far - _NEAREST:
            knots.append((here + sign * away, _alone(point, wanted, here + sign * away)))
            last = away
    return [*knots, (here + sign * far, _alone(point, wanted, here + sign * far))]


def _alone(point: FoundError, wanted: _Wanted, temperature: int) -> int:
    """The greatest error that one check allows at a temperature.

    It is convex in what a fault makes of the error, so that of all between two faults it is greatest at one of them.
    """
    error = wanted.sign * point.error
    errors = (error - point.expanded, error, error + point.expanded)
    unseen = _root(
        (ALLOWANCES[wanted.sensor] * abs(temperature - point.temperature)) ** 2 + (wanted.own * STATED_AT) ** 2
    )
    return max(
        _greatest(found, per, unseen, wanted.sign)
        for found, per in carried(wanted.sensor, errors, point.temperature, temperature)
    )


def _greatest(errors: tuple[int, int, int], per: int, unseen: int, sign: int) -> int:
    """The error with its uncertainty on this side, and with `unseen` (mK times STATED_AT)."""
    least, likely, most = (sign * each for each in errors)
    spread = _root(((max(least, most) - likely) * STATED_AT) ** 2 + (unseen * per) ** 2)
    return _ceil_div(likely * STATED_AT + spread, per * STATED_AT)


def _between(here: FoundError, there: FoundError, wanted: _Wanted) -> list[Knot]:
    """Knots between two checked temperatures: along the line from one to the other, and above it as far as it may bend.

    The uncertainties of the two may come from one reference, so they are not taken as independent of each other.
    """
    sensor, apart = wanted.sensor, there.temperature - here.temperature
    if apart > FARTHEST_APART:
        return _apart(here, there, wanted)
    if apart < 48 * _NEAREST:
        return []
    largest = max(abs(e) for point in (here, there) for e in (point.low, point.high))
    unseen, curved = unseen_between(sensor, apart), bend(sensor, largest, _differ(here, there), apart)
    room = _room(here, there, sensor)
    knots: list[Knot] = []
    for (on, thirds, late), (_, _, early) in zip(_CORNERS, _CORNERS[::-1], strict=True):
        weights = {on, on - late * (sensor in LATE_BENDING), on + early * (sensor in EARLY_BENDING)}
        along = max(_weighted(here, there, weight, (8 * thirds * unseen, 24 * wanted.own)) for weight in weights)
        knots.append((here.temperature + apart * on // 24, _ceil_div(along + 8 * thirds * curved, 24) + room))
    if sensor in EARLY_BENDING:
        knots = _finer([_at_check(here, wanted, room), *knots, _at_check(there, wanted, room)])
        for point, other in ((here, there), (there, here)):
            if other.high <= _alone(point, wanted, other.temperature):
                knots = _lower(knots, [(t, _alone(point, wanted, t)) for t, _ in knots])
    return knots


def _finer(knots: list[Knot]) -> list[Knot]:
    """Knots of the same line between its ends, so near to each other that chords of one check alone cut little of its curve.

    That little is made up for by the β that the bounds are drawn with.
    """
    line, (first, _), (last, _) = BoundLine(tuple(knots)), knots[0], knots[-1]
    places = (first + (last - first) * on // 48 for on in (1, *range(2, 48, 2), 47))
    return [(t, line.above(t)) for t in places]


def _lower(one: list[Knot], other: list[Knot]) -> list[Knot]:
    """The lower of two bounds with knots at the same temperatures, and with one where they cross, on the safe side.

    A resistance beside a thermistor makes so large an error where it is hot that the line to it says less than the check in ice.
    Only where what one check found is among what the other allows: else it has a fault that the catalogue lacks, and the line
    is all that is known.
    """
    kept: list[Knot] = []
    for ((t0, a0), (_, b0)), ((t1, a1), (_, b1)) in pairwise(zip(one, other, strict=True)):
        kept.append((t0, min(a0, b0)))
        if (a0 - b0) * (a1 - b1) < 0:
            at = t0 + (t1 - t0) * abs(a0 - b0) // (abs(a0 - b0) + abs(a1 - b1))
            height = max(e0 + _ceil_div((e1 - e0) * (at - t0), t1 - t0) for e0, e1 in ((a0, a1), (b0, b1)))
            if t0 < at:
                kept.append((at, height))
    (t, a), (_, b) = one[-1], other[-1]
    return [*kept, (t, min(a, b))]


def _weighted(here: FoundError, there: FoundError, weight: int, besides: tuple[int, int]) -> int:
    """24 times the greatest error on the straight line, with what is independent (24ths of a mK), `weight` 24ths of the way."""
    known = here.expanded * (24 - weight) + there.expanded * weight
    spread = _root(known**2 + sum(each**2 for each in besides))
    return here.error * (24 - weight) + there.error * weight + spread


def _apart(here: FoundError, there: FoundError, wanted: _Wanted) -> list[Knot]:
    """So far from each other that each speaks alone, for its half of the way."""
    half = (there.temperature - here.temperature) // 2
    up, down = _outward(here, wanted, 1, half), _outward(there, wanted, -1, there.temperature - here.temperature - half)
    middle = (up[-1][0], max(up[-1][1], down[-1][1]))
    return [*up[:-1], middle, *down[-2::-1]]


def _root(square: int) -> int:
    return isqrt(square - 1) + 1 if square else 0


def _ceil_div(numerator: int, denominator: int) -> int:
    return -(-numerator // denominator)
