"""The greatest error that one side allows, written from the description of the bounds, not from the code, in floating point."""

from itertools import pairwise
from math import hypot

from compliance.metrology.allowances import ALLOWANCES, CURVATURES, LATE_BENDING, STEEPENINGS
from compliance.metrology.assessment import Bracket
from compliance.metrology.error_bounds import ErrorAt
from compliance.metrology.vocabulary import Sensor

from .sensor_physics import aged_platinum, aged_thermistor, cold_junction_k, cold_junction_t, electronics

CAUSES = {
    Sensor.THERMISTOR: (electronics, aged_thermistor),
    Sensor.PT100_A: (electronics, aged_platinum),
    Sensor.PT100_B: (electronics, aged_platinum),
    Sensor.THERMOCOUPLE_K_1: (electronics, cold_junction_k),
    Sensor.THERMOCOUPLE_K_2: (electronics, cold_junction_k),
    Sensor.THERMOCOUPLE_T_1: (electronics, cold_junction_t),
    Sensor.THERMOCOUPLE_T_2: (electronics, cold_junction_t),
    Sensor.LIQUID_IN_GLASS: (electronics,),
    Sensor.BIMETAL: (electronics,),
    Sensor.UNKNOWN: (electronics, aged_thermistor, cold_junction_k, cold_junction_t),
}


def on_grid(shape, temperature: float) -> float:
    """Every 20 °C as the physics has it, and in straight lines between."""
    below = temperature // 20_000 * 20
    share = (temperature - 1000 * below) / 20_000
    return shape(below) * (1 - share) + shape(below + 20) * share


class Oracle:
    """Milli-degrees all through. `sign` -1 gives the least error, negated."""

    def __init__(self, side: tuple[ErrorAt, ...], sensor: Sensor, sign: int = 1):
        self.sensor = sensor
        self.points = sorted((p.temperature, sign * p.error, p.expanded) for p in side)

    def __call__(self, temperature: float) -> float:
        first, last = self.points[0], self.points[-1]
        if temperature <= first[0]:
            return max(self.alone(first, temperature), self.onward(first, self.points[1:2], temperature))
        if temperature >= last[0]:
            return max(self.alone(last, temperature), self.onward(last, self.points[-2:-1], temperature))
        return next(self.inside(a, b, temperature) for a, b in pairwise(self.points) if a[0] <= temperature <= b[0])

    def alone(self, point, temperature: float) -> float:
        """One check: the error and its uncertainty grown by each cause, and in quadrature what is unseen."""
        at, error, expanded = point
        ratios = [on_grid(shape, temperature) / on_grid(shape, at) for shape in CAUSES[self.sensor]]
        unseen = ALLOWANCES[self.sensor] * abs(temperature - at) / 75_000
        return max(error * ratio + hypot(expanded * ratio, unseen) for ratio in ratios)

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
        lags = [0.0, late_by(share)] if self.sensor in LATE_BENDING else [0.0]
        along = (share - lag for lag in lags)
        unseen = ALLOWANCES[self.sensor] / 6 * scale**2 * part
        return curved * part + max(a[1] * (1 - s) + b[1] * s + hypot(a[2] * (1 - s) + b[2] * s, unseen) for s in along)


def late_by(share: float) -> float:
    """All of the way up to half of it, no more until seven eighths, and back to nothing."""
    return min(share, 0.5) if share <= 7 / 8 else 4 * (1 - share)


def spread(point: ErrorAt, bracket: Bracket, temperature: float) -> float:
    """How wide the bounds are about one check, to say how much of it chords may add."""
    both = Oracle((point,), bracket.sensor), Oracle((point,), bracket.sensor, -1)
    return sum(each(temperature) for each in both) / 2


def highest_and_lowest(bracket: Bracket, temperature: float) -> tuple[float, float]:
    both = (bracket.start, bracket.end)
    high = max(Oracle(side, bracket.sensor)(temperature) for side in both)
    low = min(-Oracle(side, bracket.sensor, -1)(temperature) for side in both)
    return low, high
