"""How reliable probes are, from what their checks found: proportions, rates of failure, one probe beside its fleet.

A check tells only that a probe left tolerance at some time since the check before (interval censoring). At a constant
rate λ per day it is still in tolerance after t days with probability exp(-λt).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from itertools import chain
from math import exp, expm1, inf, isfinite, log, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import gammaln, logsumexp
from scipy.stats import beta, chi2, norm

Array = NDArray[np.float64]

SLOWEST, FASTEST = 1e-9, 1e3  # failures per day, between which rates are looked for
# What a kind of probe may be like before any was seen: its mean rate and how alike its probes are; judgement.
MEAN_RATES = np.logspace(-4.0, -0.5, 29)  # per day, each as likely as the next
ALIKE = np.logspace(-0.5, 2.0, 9)  # shape of the gamma distribution of rates, each as likely as the next
RATES = np.logspace(-6.0, 1.0, 281)  # per day, steps of a sum in place of an integral


class ProportionMethod(StrEnum):
    """How an interval for a proportion is made."""

    WILSON = "wilson"
    CLOPPER_PEARSON = "clopper_pearson"


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """Checks made an `interval` (days, above 0 to 3650) after the check before: `failures` out of `checks`, as found."""

    interval: float
    failures: int
    checks: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Proportion:
    """0 to 1: the observed `share`, and the interval from `low` to `high`."""

    share: float
    low: float
    high: float


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


def proportion_interval(
    failures: int, checks: int, coverage: float = 0.95, method: ProportionMethod = ProportionMethod.WILSON
) -> Proportion:
    """An interval for the share of checks that fail.

    Args:
        failures: a whole number, 0 to `checks` (no unit).
        checks: a whole number above zero (no unit).
        coverage: 0.5 to 0.999.
        method: Wilson covers as stated on average; Clopper-Pearson at least as stated, always.

    Raises:
        ValueError: for numbers out of range.

    Source: E. B. Wilson (1927); C. J. Clopper and E. S. Pearson (1934), through the beta distribution; NIST/SEMATECH
    e-Handbook 7.2.4.1.
    """
    _check_counts(failures, checks)
    _check_probability(coverage)
    share, tail = failures / checks, (1 - coverage) / 2
    if method is ProportionMethod.CLOPPER_PEARSON:
        low = float(beta.ppf(tail, failures, checks - failures + 1)) if failures else 0.0
        high = float(beta.ppf(1 - tail, failures + 1, checks - failures)) if failures < checks else 1.0
        return Proportion(share=share, low=low, high=high)
    z = float(norm.ppf(1 - tail))
    shrunk = 1 + z**2 / checks
    centre = (share + z**2 / (2 * checks)) / shrunk
    reach = z / shrunk * sqrt(share * (1 - share) / checks + z**2 / (4 * checks**2))
    low = 0.0 if failures == 0 else max(0.0, centre - reach)
    return Proportion(share=share, low=low, high=1.0 if failures == checks else min(1.0, centre + reach))


def exponential_rate(trials: Sequence[Trial], coverage: float = 0.95) -> Rate:
    """The rate of failure by maximum likelihood, with its likelihood-ratio interval.

    Args:
        trials: at least one check, days.
        coverage: 0.5 to 0.999.

    Returns:
        Per day. Without a failure the rate is 0 and `high` the exact one-sided bound at this coverage; if all failed the
        rate and `high` are infinite and `low` the exact one-sided bound.

    Raises:
        ValueError: for no check at all, or numbers out of range.

    Source: likelihood Σ[f·ln(1 - exp(-λt)) - λ·t·(n - f)]; interval by Wilks' theorem, W. Q. Meeker and L. A. Escobar,
    Statistical Methods for Reliability Data (1998), chapters 7 and 8 (from memory).
    """
    _check_trials(trials)
    _check_probability(coverage)
    failures, checks = _counts(trials)
    days = sum(trial.interval * trial.checks for trial in trials)
    if failures == 0:
        return _rate(0.0, 0.0, -log(1 - coverage) / days, trials)
    if failures == checks:
        low = _solve(lambda rate: _log_likelihood(trials, rate) - log(1 - coverage))
        return _rate(inf, low, inf, trials)
    best = _solve(lambda rate: _score(trials, rate))
    lowest = _log_likelihood(trials, best) - float(chi2.ppf(coverage, 1)) / 2
    low = _solve(lambda rate: _log_likelihood(trials, rate) - lowest, highest=best)
    return _rate(best, low, _solve(lambda rate: lowest - _log_likelihood(trials, rate), lowest=best), trials)


def shrunk_rate(own: Sequence[Trial], fleet: Sequence[Sequence[Trial]] = (), coverage: float = 0.95) -> Rate:
    """The rate of one probe, helped by others of its kind as far as those are alike.

    Rates of a kind follow a gamma distribution. Its mean and how narrow it is are weighed by how likely they make what
    the fleet and this probe showed; none is taken for certain, so that few data give a wide interval.

    Args:
        own: checks of this probe, days; none is allowed.
        fleet: checks of the other probes of its kind, days, one sequence a probe.
        coverage: 0.5 to 0.999.

    Returns:
        Per day: the mean and an interval with equal probability on either side. The counts are of the probe's own checks.

    Raises:
        ValueError: for numbers out of range.

    Source: gamma and interval-censored exponential, the hierarchical model of A. Gelman et al., Bayesian Data Analysis
    (2013), chapter 5 (from memory), summed on a grid; the range of the grid is judgement.
    """
    _check_probability(coverage)
    for trials in (own, *fleet):
        _check_each(trials)
    kinds = _kinds()
    mine = _log_likelihoods([own])[0]
    logs = np.zeros(len(kinds))
    others = [trials for trials in fleet if trials]
    if others:
        known = _log_likelihoods(others)
        top = known.max(axis=1, keepdims=True)
        logs = np.sum(np.log(np.maximum(np.exp(known - top) @ np.exp(kinds).T, 1e-300)), axis=0)
    joint = logs[:, None] + kinds + mine
    weight = np.exp(logsumexp(joint, axis=0) - logsumexp(joint))
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


def pool(trials: Sequence[Trial]) -> tuple[Trial, ...]:
    """Trials with equal intervals (days) put together, shortest interval first.

    Raises:
        ValueError: for numbers out of range.

    Source: sums of a binomial with equal probability are binomial.
    """
    _check_each(trials)
    intervals = sorted({trial.interval for trial in trials})
    alike = [(interval, [trial for trial in trials if trial.interval == interval]) for interval in intervals]
    return tuple(
        Trial(interval=interval, failures=sum(t.failures for t in same), checks=sum(t.checks for t in same))
        for interval, same in alike
    )


@cache
def _kinds() -> Array:
    """Logarithm of the probability of each rate, a row a kind of probe: all pairs of mean rate and shape."""
    shape = np.tile(ALIKE, len(MEAN_RATES))[:, None]
    scale = np.repeat(MEAN_RATES, len(ALIKE))[:, None] / shape
    logs = shape * np.log(RATES / scale) - RATES / scale - gammaln(shape)
    found: Array = logs - logsumexp(logs, axis=1, keepdims=True)
    return found


def _log_likelihoods(groups: Sequence[Sequence[Trial]]) -> Array:
    """At each rate of the grid, a row a group."""
    trials = list(chain.from_iterable(groups))
    owner = np.repeat(np.arange(len(groups)), [len(group) for group in groups])
    found = np.zeros((len(groups), len(RATES)))
    if trials:
        interval, failures, checks = np.array([(t.interval, t.failures, t.checks) for t in trials], dtype=float).T
        exponent = np.outer(interval, RATES)
        logs = failures[:, None] * np.log(-np.expm1(-exponent)) - (checks - failures)[:, None] * exponent
        np.add.at(found, owner, logs)
    return found


def _log_likelihood(trials: Sequence[Trial], rate: float) -> float:
    return sum(
        (t.failures * log(-expm1(-rate * t.interval)) if t.failures else 0.0)
        - rate * t.interval * (t.checks - t.failures)
        for t in trials
    )


def _score(trials: Sequence[Trial], rate: float) -> float:
    """The derivative of the logarithm of the likelihood by the rate, in days."""
    return sum(
        (t.failures * t.interval / expm1(min(rate * t.interval, 700.0)) if t.failures else 0.0)
        - t.interval * (t.checks - t.failures)
        for t in trials
    )


def _solve(function: Callable[[float], float], lowest: float = SLOWEST, highest: float = FASTEST) -> float:
    """The rate at which a function is zero, searched on the logarithm."""
    found = brentq(lambda power: function(exp(power)), log(lowest), log(highest), xtol=1e-12, rtol=1e-12)
    return exp(float(found))


def _rate(rate: float, low: float, high: float, trials: Sequence[Trial]) -> Rate:
    failures, checks = _counts(trials)
    days = float(sum(trial.interval * trial.checks for trial in trials))
    return Rate(rate=rate, low=low, high=high, failures=failures, checks=checks, checked_days=days)


def _counts(trials: Sequence[Trial]) -> tuple[int, int]:
    return sum(trial.failures for trial in trials), sum(trial.checks for trial in trials)


def _check_trials(trials: Sequence[Trial]) -> None:
    _check_each(trials)
    if not sum(trial.checks for trial in trials):
        raise ValueError("Give the result of at least one check.")


def _check_each(trials: Sequence[Trial]) -> None:
    for trial in trials:
        if not (isfinite(trial.interval) and 0 < trial.interval <= 3650):
            raise ValueError("Give intervals in days, above 0 and at most 3650.")
        if not 0 <= trial.failures <= trial.checks:
            raise ValueError("Give failures from 0 to the number of checks.")


def _check_counts(failures: int, checks: int) -> None:
    if checks < 1 or not 0 <= failures <= checks:
        raise ValueError("Give at least one check, and failures from 0 to the number of checks.")


def _check_probability(value: float) -> None:
    if not 0.5 <= value <= 0.999:
        raise ValueError("Give a coverage or a target from 0.5 to 0.999.")
