"""How reliable probes are, from what their checks found: rates of failure, one probe beside its fleet.

A check tells only that a probe left tolerance at some time since the check before (interval censoring). At a constant
rate λ per day it is still in tolerance after t days with probability exp(-λt).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import chain
from math import exp, inf, isfinite, log

import numpy as np
from numpy.typing import NDArray

from .local_level import log_sum

Array = NDArray[np.float64]

# What a kind of probe may be like before any was seen: its mean rate and how alike its probes are; judgement.
MEAN_RATES = np.logspace(-4.0, -0.5, 29)  # per day, each as likely as the next
ALIKE = np.logspace(-0.5, 2.0, 9)  # shape of the gamma distribution of rates, each as likely as the next
RATES = np.logspace(-6.0, 1.0, 281)  # per day, steps of a sum in place of an integral


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """Checks made an `interval` (days, above 0 to 3650) after the check before: `failures` out of `checks`, as found."""

    interval: float
    failures: int
    checks: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """Failures per day: the estimate, and the interval from `low` to `high`; `high` may be infinite.

    `failures` and `checks` are what it rests on; `checked_days` the days between those checks, added up.
    """

    rate: float
    low: float
    high: float
    failures: int
    checks: int
    checked_days: float

    def reliability(self, days: float) -> float:
        """The probability (0 to 1) of still being in tolerance after a number of days, zero or more.

        Raises:
            ValueError: for a number of days below zero.

        Source: exponential distribution, exp(-λt).
        """
        if not 0 <= days < inf:
            raise ValueError("Give a number of days of zero or more.")
        return exp(-self.rate * days) if days else 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Fleet:
    """What the probes of one kind showed, worked out once for every probe that is compared with others of them.

    `checks`: how many of each probe. `evidence`: logarithm of how likely each pair of mean rate and shape makes what it
    showed, up to the same number for all pairs; a row a probe.
    """

    checks: tuple[int, ...]
    evidence: Array

    def of(self, probes: Sequence[int]) -> "Fleet":
        """Only the probes at these positions, from 0."""
        return Fleet(checks=tuple(self.checks[n] for n in probes), evidence=self.evidence[list(probes)])


def fleet_of(probes: Sequence[Sequence[Trial]]) -> Fleet:
    """What these probes showed.

    Args:
        probes: the checks of each, days; none is allowed.

    Raises:
        ValueError: for numbers out of range.

    Source: that of `shrunk_rate`.
    """
    for trials in probes:
        _check_each(trials)
    known = _log_likelihoods(probes)
    top = known.max(axis=1, keepdims=True)
    evidence = np.log(np.maximum(np.exp(known - top) @ np.exp(_kinds()).T, 1e-300))
    return Fleet(checks=tuple(_counts(trials)[1] for trials in probes), evidence=evidence)


def shrunk_rate(own: Sequence[Trial], fleet: Fleet | Sequence[Sequence[Trial]] = (), coverage: float = 0.95) -> Rate:
    """The rate of one probe, helped by others of its kind as far as those are alike.

    Rates of a kind follow a gamma distribution. Its mean and how narrow it is are weighed by how likely they make what
    the fleet and this probe showed; none is taken for certain, so that few data give a wide interval.

    Args:
        own: checks of this probe, days; none is allowed.
        fleet: what the other probes of its kind showed, or their checks, days, one sequence a probe.
        coverage: 0.5 to 0.999.

    Returns:
        Per day: the mean and an interval with equal probability on either side. The counts are of the probe's own checks.

    Raises:
        ValueError: for numbers out of range.

    Source: gamma and interval-censored exponential, the hierarchical model of A. Gelman et al., Bayesian Data Analysis
    (2013), chapter 5 (from memory), summed on a grid; the range of the grid is judgement.
    """
    _check_probability(coverage)
    _check_each(own)
    others = fleet if isinstance(fleet, Fleet) else fleet_of(fleet)
    joint = others.evidence.sum(axis=0)[:, None] + _kinds() + _log_likelihoods([own])[0]
    logs = log_sum(joint)
    weight = np.exp(logs - log_sum(logs))
    rising = np.cumsum(weight) - weight / 2
    tail = (1 - coverage) / 2
    low, high = np.exp(np.interp([tail, 1 - tail], rising, np.log(RATES)))
    return _rate(float(weight @ RATES), float(low), float(high), own)


def days_for(rate: float, target: float) -> float:
    """The days after which reliability has fallen to a target.

    Args:
        rate: failures per day, zero or more; may be infinite.
        target: reliability, 0.5 to 0.999.

    Returns:
        Days; infinite for a rate of zero.

    Raises:
        ValueError: for numbers out of range.

    Source: exponential distribution, -ln R/λ.
    """
    _check_probability(target)
    if not rate >= 0:
        raise ValueError("Give a rate of zero or more, in failures per day.")
    return inf if rate == 0 else -log(target) / rate


@cache
def _kinds() -> Array:
    """Logarithm of the probability of each rate, a row a kind of probe: all pairs of mean rate and shape."""
    from scipy.special import gammaln, logsumexp

    shape = np.tile(ALIKE, len(MEAN_RATES))[:, None]
    scale = np.repeat(MEAN_RATES, len(ALIKE))[:, None] / shape
    logs = shape * np.log(RATES / scale) - RATES / scale - gammaln(shape)
    found: Array = logs - logsumexp(logs, axis=1, keepdims=True)
    return found


def _log_likelihoods(groups: Sequence[Sequence[Trial]]) -> Array:
    """At each rate of the grid, a row a group."""
    trials = list(chain.from_iterable(groups))
    owner = np.repeat(np.arange(len(groups)), np.array([len(group) for group in groups], dtype=int))
    found = np.zeros((len(groups), len(RATES)))
    if trials:
        interval, failures, checks = np.array([(t.interval, t.failures, t.checks) for t in trials], dtype=float).T
        exponent = np.outer(interval, RATES)
        logs = failures[:, None] * np.log(-np.expm1(-exponent)) - (checks - failures)[:, None] * exponent
        np.add.at(found, owner, logs)
    return found


def _rate(rate: float, low: float, high: float, trials: Sequence[Trial]) -> Rate:
    failures, checks = _counts(trials)
    days = float(sum(trial.interval * trial.checks for trial in trials))
    return Rate(rate=rate, low=low, high=high, failures=failures, checks=checks, checked_days=days)


def _counts(trials: Sequence[Trial]) -> tuple[int, int]:
    return sum(trial.failures for trial in trials), sum(trial.checks for trial in trials)


def _check_each(trials: Sequence[Trial]) -> None:
    for trial in trials:
        if not (isfinite(trial.interval) and 0 < trial.interval <= 3650):
            raise ValueError("Give intervals in days, above 0 and at most 3650.")
        if not 0 <= trial.failures <= trial.checks:
            raise ValueError("Give failures from 0 to the number of checks.")


def _check_probability(value: float) -> None:
    if not 0.5 <= value <= 0.999:
        raise ValueError("Give a coverage or a target from 0.5 to 0.999.")
