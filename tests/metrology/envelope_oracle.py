"""The greatest error that one side allows, written from the description of the bounds, not from the code, in floating point."""

from collections.abc import Callable
from functools import cache
from itertools import pairwise, product
from math import exp, hypot, log

from compliance.metrology.allowances import ALLOWANCES, CURVATURES, EARLY_BENDING, LATE_BENDING, STEEPENINGS
from compliance.metrology.assessment import Bracket
from compliance.metrology.error_bounds import ErrorAt
from compliance.metrology.vocabulary import Sensor

from .sensor_physics import (
    aged_platinum,
    aged_thermistor,
    cold_junction_k,
    cold_junction_t,
    electronics,
    emf_k,
    emf_t,
    leaking_platinum,
)

Carried = Callable[[float, float, float], float]  # error, checked at, there → error there; milli-°C


def in_proportion(checked_shape, there_shape) -> Carried:
    return lambda error, checked, there: error * on_grid(there_shape, there) / on_grid(checked_shape, checked)


def gain(emf, cold_junction, room: float):
    return lambda t: (emf(t) - emf(room)) * cold_junction(t)


def gains(emf, cold_junction):
    """Checked in a room of 15 to 30 °C, read within 5 K of that."""
    rooms = [(room, room + by) for room, by in product((15, 30), (-5, 5))]
    return [tuple(gain(emf, cold_junction, each) for each in pair) for pair in rooms]


def beside(beta: float, series: bool) -> Carried:
    """Beta equation: ohms add up in series, siemens in parallel."""
    sign = 1 if series else -1

    def part(milli):
        return exp(sign * beta * (1 / kelvin(milli) - 1 / 273.15))

    def carried(error, checked, there):
        total = part(there) + (part(max(checked + error, -200_000)) - part(checked))
        return 1000 * (1 / (1 / 273.15 + sign * log(total) / beta) - kelvin(there))

    return carried


def kelvin(milli: float) -> float:
    return min(max(milli, -200_000), 400_000) / 1000 + 273.15


# In proportion, of errors of both signs: the shape at the check and the shape elsewhere.
OFFSET, AGED = (electronics,) * 2, (aged_thermistor,) * 2
TYPE_K = [(cold_junction_k,) * 2, *gains(emf_k, cold_junction_k)]
TYPE_T = [(cold_junction_t,) * 2, *gains(emf_t, cold_junction_t)]
SHAPES = {
    Sensor.THERMISTOR: [OFFSET, AGED],
    Sensor.PT100_A: [OFFSET, (aged_platinum,) * 2],
    Sensor.PT100_B: [OFFSET, (aged_platinum,) * 2],
    Sensor.THERMOCOUPLE_K_1: [OFFSET, *TYPE_K],
    Sensor.THERMOCOUPLE_K_2: [OFFSET, *TYPE_K],
    Sensor.THERMOCOUPLE_T_1: [OFFSET, *TYPE_T],
    Sensor.THERMOCOUPLE_T_2: [OFFSET, *TYPE_T],
    Sensor.LIQUID_IN_GLASS: [OFFSET],
    Sensor.BIMETAL: [OFFSET],
    Sensor.UNKNOWN: [OFFSET, AGED, *TYPE_K, *TYPE_T],
}
# The greatest β of any thermistor, and that which the bounds are drawn with.
STEEPEST, DRAWN = 4500, 4700
# Of those that read too low only, and too high only, by the greatest β.
BESIDE = {
    steepest: tuple([beside(beta, series) for beta in (3000, steepest)] for series in (True, False))
    for steepest in (STEEPEST, DRAWN)
}
LEAK = ([in_proportion(leaking_platinum, leaking_platinum)], [])


def one_sided(sensor: Sensor, beta: int):
    if sensor in (Sensor.THERMISTOR, Sensor.UNKNOWN):
        return BESIDE[beta]
    return LEAK if sensor in (Sensor.PT100_A, Sensor.PT100_B) else ([], [])


def on_grid(shape, temperature: float) -> float:
    """Every 20 °C from -200 to 400 as the physics has it, and in straight lines between."""
    inside = min(max(temperature, -200_000), 399_999)
    below = inside // 20_000 * 20
    share = (inside - 1000 * below) / 20_000
    return _on_knot(shape, below) * (1 - share) + _on_knot(shape, below + 20) * share


@cache
def _on_knot(shape, celsius: float) -> float:
    return shape(celsius)


ROUNDED = 5  # mK: nearer to the edge of what the other allows, either may be so


class Oracle:
    """Milli-degrees all through. `sign` -1 gives the least error, negated. `beta`: the greatest of a thermistor."""

    def __init__(self, side: tuple[ErrorAt, ...], sensor: Sensor, sign: int = 1, beta: int = STEEPEST):
        self.sensor, self.sign, self.beta = sensor, sign, beta
        self.points = sorted((p.temperature, sign * p.error, p.expanded) for p in side)

    def __call__(self, temperature: float) -> float:
        first, last = self.points[0], self.points[-1]
        if temperature <= first[0]:
            return max(self.alone(first, temperature), self.onward(first, self.points[1:2], temperature))
        if temperature >= last[0]:
            return max(self.alone(last, temperature), self.onward(last, self.points[-2:-1], temperature))
        return next(self.inside(a, b, temperature) for a, b in pairwise(self.points) if a[0] <= temperature <= b[0])

    def alone(self, point, temperature: float, beta: int | None = None) -> float:
        """One check: the error and its uncertainty as each cause carries them there, and in quadrature what is unseen."""
        at, error, expanded = point
        unseen = ALLOWANCES[self.sensor] * abs(temperature - at) / 75_000
        errors = [self.sign * e for e in (error, error - expanded, error + expanded)]
        both = [in_proportion(*pair) for pair in SHAPES[self.sensor]]
        low, high = one_sided(self.sensor, beta or self.beta)
        found = []
        for carried, least, most in (
            *((each, float("-inf"), float("inf")) for each in both),
            *((each, float("-inf"), 0.0) for each in low if min(errors) < 0),
            *((each, 0.0, float("inf")) for each in high if max(errors) > 0),
        ):
            kept = [self.sign * carried(min(max(e, least), most), at, temperature) for e in errors]
            found.append(kept[0] + hypot(max(kept) - kept[0], unseen))
        return max(found)

    def onward(self, point, neighbour, temperature: float) -> float:
        """As steep as the line that two checks show, on either side of straight on."""
        apart = [(abs(point[1] - n[1]), abs(point[0] - n[0])) for n in neighbour]
        slope = max((rise / way for rise, way in apart if way >= 20_000), default=0.0)
        return point[1] + point[2] + slope * abs(temperature - point[0])

    def inside(self, a, b, temperature: float) -> float:
        apart = b[0] - a[0]
        if apart > 150_000:
            return self.alone(a if temperature < a[0] + apart / 2 else b, temperature)
        share = (temperature - a[0]) / apart
        largest = max(abs(e) for p in (a, b) for e in (p[1] - p[2], p[1] + p[2]))
        differ = abs(a[1] - b[1]) + a[2] + b[2]
        scale = apart / 100_000
        curved = (
            CURVATURES[self.sensor] / 100 * largest * scale**2 + STEEPENINGS.get(self.sensor, 0) / 100 * differ * scale
        )
        part = min(8 * share, 1, 8 * (1 - share))
        along = [share]
        along += [share - late_by(share)] if self.sensor in LATE_BENDING else []
        along += [share + late_by(1 - share)] if self.sensor in EARLY_BENDING else []
        unseen = ALLOWANCES[self.sensor] / 6 * scale**2 * part
        line = max(a[1] * (1 - s) + b[1] * s + hypot(a[2] * (1 - s) + b[2] * s, unseen) for s in along)
        room = 5_000 * differ / apart if len(SHAPES[self.sensor]) > 2 else 0
        along_the_line = curved * part + line + room
        if self.sensor in EARLY_BENDING:
            told = [
                p for p, other in ((a, b), (b, a)) if other[1] + other[2] <= self.alone(p, other[0], DRAWN) + ROUNDED
            ]
            return min([along_the_line, *(self.alone(point, temperature) for point in told)])
        return along_the_line


def late_by(share: float) -> float:
    """All of the way up to half of it, no more until seven eighths, and back to nothing."""
    return min(share, 0.5) if share <= 7 / 8 else 4 * (1 - share)


def spread(point: ErrorAt, bracket: Bracket, temperature: float) -> float:
    """How wide the bounds are about one check, to say how much of it chords may add."""
    both = (Oracle((point,), bracket.sensor, sign, DRAWN) for sign in (1, -1))
    return sum(each(temperature) for each in both) / 2


def highest_and_lowest(bracket: Bracket, temperature: float, beta: int = STEEPEST) -> tuple[float, float]:
    both = (bracket.start, bracket.end)
    high = max(Oracle(side, bracket.sensor, 1, beta)(temperature) for side in both)
    low = min(-Oracle(side, bracket.sensor, -1, beta)(temperature) for side in both)
    return low, high


def runs_back(bracket: Bracket, temperature: float) -> bool:
    """Whether a display with the greatest error may have shown as much at a colder truth, or with the least at a hotter one."""
    for side, sign in product((bracket.start, bracket.end), (1, -1)):
        oracle = Oracle(side, bracket.sensor, sign)
        here = sign * temperature + oracle(temperature)
        colder = [temperature - sign * away for away in (10_000, 30_000, 80_000, 200_000, 500_000)]
        steepest = -200_000 if sign > 0 else 400_000  # where the faults end
        if any(sign * t + oracle(t) > here - 500 for t in (*colder, steepest)):
            return True
    return False
