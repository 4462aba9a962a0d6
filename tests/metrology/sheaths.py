"""Simulated probes in an ice bath: sheaths with two time constants, read and typed by hand from a display of whole digits."""

from dataclasses import dataclass
from math import exp
from random import Random

from compliance.metrology.settling import TimedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheath:
    """A step from `start` to `end` (°C): share 1 - tail with the time constant `main` (s), share `tail` with `other`.

    A positive tail is a slow handle end; a negative one with a smaller constant is a sheath that lags at first.
    """

    start: float
    end: float
    main: float
    other: float
    tail: float

    def to_come(self, elapsed: float) -> float:
        shape = (1 - self.tail) * exp(-elapsed / self.main) + self.tail * exp(-elapsed / self.other)
        return (self.start - self.end) * shape


def thin(chance: Random, end: float) -> Sheath:
    """A thin food probe from the room, as nearly first order as probes come."""
    return Sheath(start=20.0, end=end, main=chance.uniform(3, 5), other=1.0, tail=0.0)


def lagging(chance: Random, end: float) -> Sheath:
    """Two first-order parts in a row: t90/t50 from 2.3 to 3.3, where a single constant gives 3.32."""
    main = chance.uniform(2, 8)
    other = main * chance.uniform(0.1, 0.9)
    return Sheath(start=chance.uniform(4, 30), end=end, main=main, other=other, tail=-other / (main - other))


def tailed(chance: Random, end: float) -> Sheath:
    """A part of the sheath follows two to four times more slowly than the tip."""
    main = chance.uniform(2, 6)
    other = main * chance.uniform(2, 4)
    return Sheath(start=chance.uniform(4, 30), end=end, main=main, other=other, tail=chance.uniform(0.03, 0.25))


def typed(
    sheath: Sheath, resolution: float, chance: Random, *, every: tuple[float, float] = (4, 9), until: float = 300
) -> list[TimedValue]:
    """What somebody types who looks at the display every few seconds, not quite when it is noted."""
    readings, now = [], chance.uniform(1, 6)
    while now < until:
        seen = sheath.end + sheath.to_come(now - chance.uniform(0, 0.5))
        value = round(seen / resolution) * resolution
        readings.append(TimedValue(elapsed=round(now, 1), value=round(value, 3)))
        now += chance.uniform(*every)
    return readings
