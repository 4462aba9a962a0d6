"""Probes that are checked as often as the advice says: how many checks find them in tolerance?

Failures at a constant rate: every probe has its own, from a gamma distribution about that of its fleet. Errors that drift:
a probe is adjusted until its display shows zero when a check finds it out of tolerance, or when the advice says so. Times
are in days.
"""

from collections import defaultdict
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import brentq

from compliance.metrology.drift import ErrorPoint, Trend, trend
from compliance.metrology.intervals import LONGEST, Advice, advise
from compliance.metrology.reliability import Trial, days_for

from .probe_lives import BATHS, DISPLAY, Array, Form

TARGET = 0.95
RATES = (0.0007, 0.0015, 0.003, 0.006, 0.012, 0.025)  # failures per day
PROBES, SHAPE = 8, 4.0  # of a fleet; how alike they are
FIRST, WEEKLY = 26, 7.0  # checks before there is advice, days
YEARS = 730.0
TOLERANCE = 1.0  # °C
BATH = BATHS[0]


@dataclass(frozen=True)
class Followed:
    """`attained`: share (0 to 1) of `checks` in tolerance; `days`: median advised.

    `allowed` are the median days that the evidence allows, at most 30, before they are cut to whole days and to a step, and
    `exact` the share that they would attain; `free` is that of those that the 30 days did not limit, None if all were.
    `adjust` is the share of the times somebody asked when the advice was to adjust at once instead.
    """

    name: str
    checks: int
    attained: float
    days: float
    allowed: float
    exact: float
    free: float | None
    adjust: float = 0.0


@dataclass
class _Told:
    """What became of the checks that followed advice."""

    good: list[float] = field(default_factory=list)
    days: list[float] = field(default_factory=list)
    allowed: list[float] = field(default_factory=list)
    exact: list[float] = field(default_factory=list)
    adjusted: int = 0

    def add(self, good: bool, days: float, allowed: float, exact: float) -> None:
        self.good.append(float(good))
        self.days.append(days)
        self.allowed.append(allowed)
        self.exact.append(exact)

    def of(self, name: str) -> Followed:
        """Intervals not cut would give fewer checks where they are longer: each counts once for its days."""
        allowed, exact = np.array(self.allowed), np.array(self.exact)
        weights, free = np.array(self.days) / allowed, allowed < LONGEST
        return Followed(
            name=name,
            checks=len(self.good),
            attained=float(np.mean(self.good)),
            days=float(np.median(self.days)),
            allowed=float(np.median(allowed)),
            exact=float(np.average(exact, weights=weights)),
            free=float(np.average(exact[free], weights=weights[free])) if free.any() else None,
            adjust=self.adjusted / (self.adjusted + len(self.good)),
        )


def follow_rates(size: int, seed: int, rate: float) -> Followed:
    """`size` fleets with this mean rate of failures a day."""
    rng = np.random.default_rng([seed, round(rate * 1e6)])
    told = _Told()
    for _ in range(size):
        _follow_fleet(rng.gamma(SHAPE, rate / SHAPE, PROBES), rng, told)
    return told.of(f"{rate:g} failures a day")


def _follow_fleet(rates: Array, rng: np.random.Generator, told: _Told) -> None:
    """Each probe in turn is advised from its own checks and those of the others, and checked so for a quarter."""
    seen = [defaultdict(lambda: [0, 0]) for _ in rates]
    for rate, mine in zip(rates, seen, strict=True):
        mine[WEEKLY] = [int(np.sum(rng.random(FIRST) > np.exp(-rate * WEEKLY))), FIRST]
    for _ in range(8):
        for probe, rate in enumerate(rates):
            fleet = [_trials(other) for number, other in enumerate(seen) if number != probe]
            advice = advise(None, _trials(seen[probe]), tolerance=TOLERANCE, target=TARGET, fleet=fleet)
            _check_so(advice, rate, YEARS / 8, seen[probe], rng, told)


def _check_so(
    advice: Advice, rate: float, time: float, mine: dict[float, list[int]], rng: np.random.Generator, told: _Told
) -> None:
    days, allowed = _advised(advice), min(days_for(advice.rate.rate, TARGET), LONGEST)
    for _ in range(max(1, round(time / days))):
        good = rng.random() < np.exp(-rate * days)
        mine[days][0] += not good
        mine[days][1] += 1
        told.add(good, days, allowed, float(np.exp(-rate * allowed)))


def _trials(seen: dict[float, list[int]]) -> list[Trial]:
    return [Trial(interval=days, failures=failed, checks=checks) for days, (failed, checks) in seen.items()]


def _advised(advice: Advice) -> float:
    if advice.days is None:
        raise ValueError("There was no advice, though there is evidence enough.")
    return float(advice.days)


@dataclass
class _Probe:
    """A probe whose true error in °C goes on from `error` by `pace` a day, and by a random walk of `walk` over one day."""

    error: float
    pace: float
    walk: float
    rng: np.random.Generator
    at: float = 0.0
    points: list[ErrorPoint] = field(default_factory=list)
    trials: dict[float, list[int]] = field(default_factory=lambda: defaultdict(lambda: [0, 0]))

    def wait(self, days: float) -> None:
        self.at += days
        self.error += self.pace * days + self.walk * np.sqrt(days) * self.rng.standard_normal()

    def check(self) -> bool:
        """Whether it is found in tolerance."""
        off = self.rng.uniform(-1, 1) * BATH.half_width
        found = float(np.round((self.error + off) / DISPLAY) * DISPLAY)
        self.points.append(ErrorPoint(at=self.at, error=found, standard=BATH.standard))
        return abs(found) <= TOLERANCE + 1e-9

    def adjust(self) -> None:
        """Until the display shows zero in the bath, which leaves as much as bath and display leave open."""
        self.error = self.rng.uniform(-1, 1) * BATH.half_width + self.rng.uniform(-1, 1) * DISPLAY / 2
        self.points.append(ErrorPoint(at=self.at, error=0.0, standard=BATH.standard, after_adjustment=True))


def follow_drift(form: Form, size: int, seed: int, days: float = YEARS) -> Followed:
    """`size` probes, each followed for so many days; adjusted when a check fails and when the advice is to adjust."""
    rng = np.random.default_rng([seed, 77, list(Form).index(form)])
    told = _Told()
    for _ in range(size):
        walk = TOLERANCE * rng.uniform(0.02, 0.15) if form is Form.WANDER else 0.0
        pace = rng.choice([-1, 1]) * TOLERANCE / rng.uniform(20, 200) if form is Form.LINEAR else 0.0
        _follow_probe(_Probe(TOLERANCE * rng.uniform(-0.4, 0.4), pace, walk, rng), told, days)
    return told.of(f"{form.value} errors")


def _follow_probe(probe: _Probe, told: _Told, until: float) -> None:
    for _ in range(6):
        _checked(probe, WEEKLY)
    while probe.at < until:
        history = trend(probe.points)
        advice = advise(history, _trials(probe.trials), tolerance=TOLERANCE, target=TARGET)
        if advice.adjust_first:
            told.adjusted += 1
            probe.adjust()
            probe.wait(1.0)
            continue
        days, allowed = _advised(advice), _allowed(history, advice)
        exact = _inside(probe, allowed)
        told.add(_checked(probe, days), days, allowed, exact)


def _allowed(history: Trend, advice: Advice) -> float:
    """The days that the evidence allows, not cut to whole ones; 30 at most."""
    by_rate = days_for(advice.rate.rate, TARGET) if advice.by_rate is not None else LONGEST
    whole = advice.by_trend or 0
    if whole >= LONGEST:
        return min(by_rate, LONGEST)

    def short(days: float) -> float:
        return history.probability_outside(history.last + days, TOLERANCE) - (1 - TARGET)

    return min(by_rate, float(brentq(short, whole, whole + 1)))


def _checked(probe: _Probe, days: float) -> bool:
    """Wait, check, adjust what is out of tolerance; whether the true error was in tolerance."""
    probe.wait(days)
    good = abs(probe.error) <= TOLERANCE
    passed = probe.check()
    probe.trials[days][0] += not passed
    probe.trials[days][1] += 1
    if not passed:
        probe.adjust()
    return good


def _inside(probe: _Probe, days: float) -> float:
    """The probability of being in tolerance after so many days, or nearly so."""
    draws = probe.error + probe.pace * days + probe.walk * np.sqrt(days) * probe.rng.standard_normal(50)
    return float(np.mean(np.abs(draws) <= TOLERANCE))
