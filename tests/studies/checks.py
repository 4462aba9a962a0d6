"""Simulated checks in ice: does the interval hold the true error, is it narrow, is "settled" true, how often a wrong pass.

Each check draws a bath, a probe and somebody who types readings, and is judged by `verify_zero` like any other.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from multiprocessing import get_context

import numpy as np

from compliance.metrology.bath import BathKind, BathPoint, Preparation, judge_bath
from compliance.metrology.conformity import DecisionRule
from compliance.metrology.settling import (
    EARLIEST,
    LONG_STILL,
    LONGEST_SERIES,
    SHORTEST_WINDOW,
    SettlingState,
    TimedValue,
    judge_settling,
)
from compliance.metrology.verification import STEM_CONDUCTION, Instrument, Verification, verify_zero
from compliance.metrology.vocabulary import Sensor, Verdict

from .checks_report import Found, Stratum, tell, tell_hidden
from .sheaths import Sheaths, World, sheaths, shown

SIZE = 20_000
OTHERS = 5_000  # where the world is not as the budget assumes
HIDDEN_SIZE = 300  # where a tail hides: each is judged after every number
SEED = 2026
LONGEST = 40  # readings after which somebody gives up
BATHS = {
    "good": Preparation(kind=BathKind.PACKED_CRUSHED, points=frozenset(BathPoint)),
    "poor": Preparation(kind=BathKind.STIRRED_CUBES, points=frozenset(BathPoint)),
}
RESOLUTIONS = (0.1, 1.0)
NOISES = (0.05, 0.15, 0.3)  # standard deviation as a share of a digit
READINGS = (1, 3, 10)
WORLDS = (World.ASSUMED, World.SLOWER, World.STICKY)


STRATA = tuple(
    Stratum(resolution, noise, world, bath, readings)
    for world, resolution, readings, bath, noise in product(WORLDS, RESOLUTIONS, READINGS, BATHS, NOISES)
)
# The same, whoever types: from the start on, every 4 to 9 s, every 3 s, every second.
PACES = ((4.0, 9.0), (3.0, 3.0), (1.0, 1.0))
HIDDEN = tuple(
    Stratum(resolution, noise, World.HIDDEN, "good", 1, every)
    for resolution, noise, every in product(RESOLUTIONS, NOISES, PACES)
)


@dataclass(frozen=True, slots=True)
class Drawn:
    """Simulated checks, one row each: true errors and tolerances °C, times s, what was shown and was to come °C."""

    error: np.ndarray
    tolerance: np.ndarray
    beyond: np.ndarray
    elapsed: np.ndarray
    values: np.ndarray
    to_come: np.ndarray


def draw(stratum: Stratum, size: int, chance: np.random.Generator) -> Drawn:
    """The world of a stratum.

    True errors are spread evenly over ±0.7 to ±2.7 °C, so that none has a lucky place between two digits. Every second
    tolerance lies a trifle below the true error, the others up to half a digit, so that every pass is a wrong one.
    """
    warm = stratum.world is World.SLOWER
    error = chance.uniform(0.7, 2.7, size) * chance.choice([-1, 1], size)
    half_width = judge_bath(BATHS[stratum.bath]).within
    bath = chance.uniform(0 if warm else -half_width, half_width, size)
    stem = chance.normal(0, STEM_CONDUCTION, size)
    elapsed = (
        _typed_until_settled(stratum, size, chance) if stratum in HIDDEN else times(stratum.readings, size, chance)
    )
    probes: Sheaths = sheaths(stratum.world, size, chance)
    to_come = probes.to_come(elapsed)
    noise = chance.normal(0, stratum.noise * stratum.resolution, elapsed.shape)
    felt = (error + bath + (np.abs(stem) if warm else stem))[:, None] + to_come + noise
    beyond = np.where(np.arange(size) % 2, chance.uniform(0, stratum.resolution / 2, size), 1e-6)
    tolerance = np.maximum(np.abs(error) - beyond, 0.1)
    return Drawn(error, tolerance, beyond, elapsed, shown(stratum.world, felt, stratum.resolution), to_come)


def times(readings: int, size: int, chance: np.random.Generator) -> np.ndarray:
    """When somebody reads, s: once after 1 to 5 min; thrice after 20 to 120 s; or from the start, every 4 to 9 s."""
    if readings == 1:
        return chance.uniform(60, 300, (size, 1))
    if readings == 3:
        steps = np.hstack([chance.uniform(20, 120, (size, 1)), chance.uniform(4, 20, (size, 2))])
    else:
        steps = np.hstack([chance.uniform(1, 6, (size, 1)), chance.uniform(4, 9, (size, LONGEST - 1))])
    return np.round(np.cumsum(steps, axis=1), 1)


def _typed_until_settled(stratum: Stratum, size: int, chance: np.random.Generator) -> np.ndarray:
    """From the start on, at the pace of this stratum, for as long as a check takes readings."""
    first, steps = chance.uniform(1, 6, (size, 1)), chance.uniform(*stratum.every, (size, LONGEST_SERIES - 1))
    return np.round(np.cumsum(np.hstack([first, steps]), axis=1), 1)


def study(stratum: Stratum, size: int, seed: int) -> Found:
    """Draw `size` checks and judge each."""
    drawn = draw(stratum, size, np.random.default_rng([seed, (*STRATA, *HIDDEN).index(stratum)]))
    judged = [_check(stratum, drawn, row) for row in range(size)]
    said = [first for first, _ in judged if first is not None]
    rows = np.array([row for row, (_, found) in enumerate(judged) if found is not None], dtype=int)
    found = [found for _, found in judged if found is not None]
    off = np.array([f.error for f in found]) - drawn.error[rows]
    expanded = np.array([f.expanded for f in found])
    passed = np.array([f.verdict is Verdict.IN_TOLERANCE for f in found])
    edge = rows % 2 == 0
    return Found(
        stratum=stratum,
        size=size,
        figures=len(found) / size,
        coverage=float(np.mean(np.abs(off) <= expanded + 1e-9)),
        width=float(np.median(expanded) / np.quantile(np.abs(off), 0.95)),
        early=float(np.mean([first.early for first in said])),
        wrong=float(passed[~edge].mean()),
        at_edge=float(passed[edge].mean()),
        seconds=tuple(float(s) for s in np.quantile([first.elapsed for first in said], [0.5, 0.9])),
    )


@dataclass(frozen=True, slots=True)
class FirstSaid:
    """When "settled" was said first, s, and whether that was early."""

    elapsed: float
    early: bool


def _check(stratum: Stratum, drawn: Drawn, row: int) -> tuple[FirstSaid | None, Verification | None]:
    """When "settled" was said first, and the check as it was finished."""
    elapsed, values = drawn.elapsed[row].tolist(), drawn.values[row].tolist()
    readings = [TimedValue(elapsed=at, value=value) for at, value in zip(elapsed, values, strict=True)]
    first = None
    for count in range(1, len(readings) + 1):
        if count < stratum.readings and first is not None:
            continue
        if (
            _moving(readings[:count], stratum.resolution)
            or judge_settling(readings[:count], stratum.resolution).state is not SettlingState.SETTLED
        ):
            continue
        if first is None:
            first = FirstSaid(elapsed[count - 1], abs(drawn.to_come[row, count - 1]) > stratum.resolution / 2)
        if count >= stratum.readings:
            return first, _verify(stratum, readings[:count], float(drawn.tolerance[row]))
    return first, None


def _moving(readings: Sequence[TimedValue], resolution: float) -> bool:
    """Whether it cannot have settled, so that the time to judge it is saved: two digits apart within the window asked for."""
    now = readings[-1].elapsed
    late = [r.value for r in readings if r.elapsed > now - (LONG_STILL if now < EARLIEST else SHORTEST_WINDOW)]
    return len(readings) > 1 and max(late) - min(late) > 1.5 * resolution


def _verify(stratum: Stratum, readings: Sequence[TimedValue], tolerance: float) -> Verification:
    probe = Instrument(sensor=Sensor.UNKNOWN, resolution=stratum.resolution, tolerance=tolerance)
    return verify_zero(readings, BATHS[stratum.bath], probe, 50.0, DecisionRule.GUARDED)


def _study(task: tuple[Stratum, int, int]) -> Found:
    return study(*task)


def study_all(size: int = SIZE, others: int = OTHERS, seed: int = SEED) -> Iterator[Found]:
    """Every stratum: `size` checks where the world is as assumed, `others` where it is not."""
    sizes = [size if stratum.world is World.ASSUMED else others for stratum in STRATA]
    return _by_two([(stratum, n, seed) for stratum, n in zip(STRATA, sizes, strict=True)])


def study_hidden(size: int = HIDDEN_SIZE, seed: int = SEED) -> Iterator[Found]:
    """Every pace of typing where a slow tail hides behind a quick fall."""
    return _by_two([(stratum, size, seed) for stratum in HIDDEN])


def _by_two(tasks: list[tuple[Stratum, int, int]]) -> Iterator[Found]:
    with get_context("spawn").Pool(2) as pool:
        yield from pool.imap(_study, tasks)


def main() -> None:
    tell(tuple(study_all()))
    tell_hidden(tuple(study_hidden()))
