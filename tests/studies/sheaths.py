"""Populations of simulated probes in a bath, many at once: sheaths with two time constants, noise, a display of digits."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

HYSTERESIS = 0.1  # of a digit by which a sluggish display holds on to the digit it shows


class World(StrEnum):
    """Whether the simulated world is as the budget assumes it; if not, in what it is worse.

    SLOWER: slower sheaths from a hotter kitchen, baths and stems that are never on the cold side. STICKY: a display that
    holds on to the digit it showed last until it is a tenth of a digit beyond the edge. HIDDEN: behind a quick fall a slow
    tail that is too small to be seen in it.
    """

    ASSUMED = "as assumed"
    SLOWER = "slower sheaths"
    STICKY = "sticky display"
    HIDDEN = "hidden tail"


@dataclass(frozen=True, slots=True)
class Sheaths:
    """Steps from `start` (°C above the end): share 1 - tail with time constant `main` (s), share tail with `other`."""

    start: np.ndarray
    main: np.ndarray
    other: np.ndarray
    tail: np.ndarray

    def to_come(self, elapsed: np.ndarray) -> np.ndarray:
        """°C still to fall at these times (s), one row per probe."""
        main, other, tail = (column[:, None] for column in (self.main, self.other, self.tail))
        shape = (1 - tail) * np.exp(-elapsed / main) + tail * np.exp(-elapsed / other)
        return self.start[:, None] * shape


def sheaths(world: World, count: int, chance: np.random.Generator) -> Sheaths:
    """A third thin probes, a third that lag at first, a third with a slow tail.

    As assumed, a tail is up to 4 times slower than the tip, up to 24 s, and has up to a quarter of the step. Slower ones are
    up to 5 times slower, up to 40 s, and come from a hotter kitchen.
    """
    if world is World.HIDDEN:
        return _hiding(count, chance)
    kind = np.arange(count) % 3
    slow = world is World.SLOWER
    main = np.select([kind == 0, kind == 1], [chance.uniform(3, 5, count), chance.uniform(2, 8, count)])
    main = np.where(kind == 2, chance.uniform(2, 8 if slow else 6, count), main)
    slower = chance.uniform(2, 5 if slow else 4, count)
    part = chance.uniform(0.1, 0.9, count)
    other = np.select([kind == 0, kind == 1], [np.ones(count), main * part], main * slower)
    lag = -other / np.where(kind == 1, main - other, 1.0)
    tail = np.select([kind == 0, kind == 1], [np.zeros(count), lag], chance.uniform(0.03, 0.25, count))
    return Sheaths(chance.uniform(10 if slow else 4, 40 if slow else 30, count), main, other, tail)


def _hiding(count: int, chance: np.random.Generator) -> Sheaths:
    """Tips of 2 to 6 s with a tail of 0 to 8 % of the step, of 6 to 24 s; steps as in the assumed world."""
    main, other, tail = chance.uniform(2, 6, count), chance.uniform(6, 24, count), chance.uniform(0, 0.08, count)
    return Sheaths(chance.uniform(4, 30, count), main, other, tail)


def shown(world: World, felt: np.ndarray, resolution: float) -> np.ndarray:
    """What the display shows; a sticky one holds on to the digit it showed last."""
    if world is not World.STICKY:
        return np.round(np.round(felt / resolution) * resolution, 3)
    digits = np.empty_like(felt)
    digits[:, 0] = np.round(felt[:, 0] / resolution)
    for column in range(1, felt.shape[1]):
        exact, before = felt[:, column] / resolution, digits[:, column - 1]
        holds = np.abs(exact - before) <= 0.5 + HYSTERESIS
        digits[:, column] = np.where(holds, before, np.round(exact))
    return np.round(digits * resolution, 3)
