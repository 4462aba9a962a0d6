"""The fit behind `drift`: a level with a slope, steps, wander and scatter, by exact likelihood.

y(t) = level + slope·t + Σ steps + wander(t) + scatter. Wander is a random walk with variance q per day; the scatter of a
check is its stated standard uncertainty times an unknown factor s. Given q/s², all else is linear with a normal and
inverse gamma distribution and needs no search; q/s² runs over a grid and its shares are weighed by their likelihood.

Source: A. C. Harvey, Forecasting, Structural Time Series Models and the Kalman Filter (1989), the local linear trend
with a fixed slope; A. Gelman et al., Bayesian Data Analysis, 3rd edition (2013), chapter 14 (both from memory).
"""

from dataclasses import dataclass
from math import log

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SLOPE_SPREAD = 0.005  # °C per day, standard deviation of slopes before any was seen; judgement
STEP_SPREAD = 20.0  # of sudden changes, in standard uncertainties of a check, before any was seen; judgement
SCATTER_FREEDOM = 3.0  # the stated uncertainty of the checks weighs as much as three of them; judgement
NO_WANDER = 0.25  # probability that an error does not roam at all, before any was seen; judgement
# In standard uncertainties of a check from one check to the next; judgement. Histories of four to eight checks hardly tell
# how much an error roams, so that this decides how wide their forecasts are.
USUAL_WANDER = 3.0
# Variance of the wander from one check to the next, as a multiple of the variance of a check: none, then by 2.
SHARES = np.concatenate(([0.0], np.exp2(np.arange(-9.0, 11.0, 1.0))))


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """A history as arrays: `ahead` days from the last point (zero or less), `error` °C, `standard` uncertainty °C.

    `usual` is the median uncertainty in °C, `pace` the mean number of days from one check to the next.
    """

    ahead: Array
    error: Array
    standard: Array
    usual: float
    pace: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixture:
    """One entry a share of wander: its weight, and the Student's t distribution of level and slope under it.

    `level` °C and `slope` °C/day are the middles at the last point. `level_variance` °C², `covariance` °C²/day,
    `slope_variance` °C²/day² and `wander` °C²/day are squared scales. `scatter` is the variance of a check as a multiple
    of the stated one, and `freedom` the degrees of freedom.
    """

    weight: Array
    level: Array
    slope: Array
    level_variance: Array
    covariance: Array
    slope_variance: Array
    wander: Array
    scatter: Array
    freedom: float

    def spread(self, ahead: Array, extra: Array) -> tuple[Array, Array]:
        """Middles and scales, a row a time and a column a share.

        Args:
            ahead: days after the last point, zero or more.
            extra: °C², added variance, one a share.
        """
        days = ahead[:, None]
        variance = self.level_variance + 2 * days * self.covariance + days**2 * self.slope_variance
        return self.level + days * self.slope, np.sqrt(variance + days * self.wander + extra)

    def split(self, parts: Array) -> "Mixture":
        """The same mixture, each share of it in parts of these weights (0 to 1, sum 1) that differ in what is added later."""
        count = len(parts)
        return Mixture(
            weight=np.outer(self.weight, parts).ravel(),
            level=np.repeat(self.level, count),
            slope=np.repeat(self.slope, count),
            level_variance=np.repeat(self.level_variance, count),
            covariance=np.repeat(self.covariance, count),
            slope_variance=np.repeat(self.slope_variance, count),
            wander=np.repeat(self.wander, count),
            scatter=np.repeat(self.scatter, count),
            freedom=self.freedom,
        )

    def cumulated(self, value: float, centres: Array, scales: Array) -> Array:
        """The probability (0 to 1) of at most this value (°C), one a row of middles and scales (°C)."""
        from scipy.special import stdtr

        found: Array = stdtr(self.freedom, (value - centres) / scales) @ self.weight
        return found

    def quantile(self, probability: float, centres: Array, scales: Array) -> float:
        """The °C below which a probability (0.0005 to 0.9995) lies, for one row of middles and scales (°C)."""
        from scipy.optimize import brentq
        from scipy.special import stdtrit

        # It lies between those of the shares.
        each, edge = centres + stdtrit(self.freedom, probability) * scales, 1e-6 * float(np.max(scales))
        low, high = float(np.min(each)) - edge, float(np.max(each)) + edge
        return float(
            brentq(lambda value: self.cumulated(value, centres, scales)[0] - probability, low, high, xtol=1e-10)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """A fit: the mixture, the error at each point with its scatter averaged out (°C), and sizes of the steps (°C).

    `steps` and `steps_standard` are in the order of the positions given.
    """

    mixture: Mixture
    smoothed: Array
    steps: Array
    steps_standard: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shares:
    """All shares of wander, one an entry: its variance °C²/day, and whitened errors, level with slope, and unit steps.

    Variances are in units of the scatter. Column k of `steps` is a step between points k and k + 1; `lengths` are the
    squared lengths of these columns. `alike` is the covariance of the wander for a variance of 1 °C²/day.
    """

    wander: Array
    alike: Array
    factor: Array
    error: Array
    trend: Array
    steps: Array
    lengths: Array
    log_determinant: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class _Normal:
    """Normal equations, one entry a share: inverse, effects, what they leave of the errors and of the sum of squares."""

    design: Array
    inverse: Array
    effects: Array
    left: Array
    remainder: Array
    evidence: Array


class Model:
    """The fits of one series, prepared once, for any steps."""

    def __init__(self, series: Series) -> None:
        self.series = series
        self.shares = _shares(series)
        self.freedom = len(series.error) - 1 + SCATTER_FREEDOM
        size = np.sqrt(SHARES[1:]) / USUAL_WANDER
        rest = 1 / (size + 1 / size)  # a half-Cauchy distribution of the size, on a logarithmic grid
        self.prior = np.log(np.concatenate(([NO_WANDER], (1 - NO_WANDER) * rest / rest.sum())))

    def solve(self, positions: list[int]) -> Solution:
        """Fit with steps just before these points (positions from 1)."""
        fit = self._normal(positions)
        logs = self.prior + fit.evidence
        weight = np.exp(logs - log_sum(logs))
        scatter = self._variance(fit.remainder)
        effects, inverse = fit.effects, fit.inverse
        mixture = Mixture(
            weight=weight,
            level=effects[:, 0],
            slope=effects[:, 1],
            level_variance=scatter * inverse[:, 0, 0],
            covariance=scatter * inverse[:, 0, 1],
            slope_variance=scatter * inverse[:, 1, 1],
            wander=scatter * self.shares.wander,
            scatter=scatter,
            freedom=self.freedom,
        )
        spread = scatter[:, None] * np.diagonal(inverse, axis1=1, axis2=2)[:, 2:]
        return Solution(
            mixture=mixture,
            smoothed=weight @ self._smooth(fit, positions),
            steps=-(weight @ effects[:, 2:]),
            steps_standard=np.sqrt(weight @ (spread + (effects[:, 2:] - weight @ effects[:, 2:]) ** 2)),
        )

    def gains(self, positions: list[int]) -> Array:
        """Logarithm of how much likelier the history is with one step more, before each point from the second on."""
        shares, fit = self.shares, self._normal(positions)
        across = np.swapaxes(fit.design, 1, 2) @ shares.steps
        size = shares.lengths + self._step_precision - np.sum(across * (fit.inverse @ across), axis=1)
        # The priors of slope and steps pull: what they leave is orthogonal only together with them.
        pull = _times(np.swapaxes(shares.steps, 1, 2), fit.left)
        before = fit.remainder[:, None]
        remainder = np.maximum(before - pull**2 / size, 0.0)
        change = np.log1p((remainder - before) / (SCATTER_FREEDOM + before))
        with_step = fit.evidence[:, None] - (np.log(size) - log(self._step_precision) + self.freedom * change) / 2
        found: Array = log_sum(self.prior[:, None] + with_step) - log_sum(self.prior + fit.evidence)
        return found

    @property
    def _step_precision(self) -> float:
        return float((STEP_SPREAD * self.series.usual) ** -2)

    def _variance(self, remainder: Array) -> Array:
        return (SCATTER_FREEDOM + remainder) / self.freedom

    def _normal(self, positions: list[int]) -> _Normal:
        shares = self.shares
        chosen = shares.steps[:, :, [position - 1 for position in positions]]
        design = np.concatenate([shares.trend, chosen], axis=2)
        across = np.swapaxes(design, 1, 2)
        precision = np.array([0.0, SLOPE_SPREAD**-2, *(self._step_precision for _ in positions)])
        normal = across @ design + np.diag(precision)
        inverse = np.linalg.inv(normal)
        effects = _times(inverse, _times(across, shares.error))
        left = shares.error - _times(design, effects)
        remainder = np.sum(left**2, axis=1) + effects**2 @ precision
        evidence = -shares.log_determinant - np.linalg.slogdet(normal)[1] / 2
        evidence += float(np.sum(np.log(precision[1:]))) / 2
        evidence -= self.freedom / 2 * np.log(SCATTER_FREEDOM + remainder)
        return _Normal(
            design=design, inverse=inverse, effects=effects, left=left, remainder=remainder, evidence=evidence
        )

    def _smooth(self, fit: _Normal, positions: list[int]) -> Array:
        """°C, a row a share."""
        from scipy.linalg.lapack import dtrtrs

        ahead, shares = self.series.ahead, self.shares
        columns = [np.ones_like(ahead), ahead, *(np.arange(len(ahead)) < position for position in positions)]
        pairs = zip(shares.factor, fit.left, strict=True)
        left = np.array([dtrtrs(factor, each, lower=1, trans=1)[0] for factor, each in pairs])
        found: Array = fit.effects @ np.array(columns, dtype=float) + shares.wander[:, None] * (left @ shares.alike)
        return found


def log_sum(logs: Array) -> Array:
    """Logarithm of the sum of what these are the logarithms of (all finite), over the first axis."""
    top = logs.max(axis=0)
    found: Array = top + np.log(np.exp(logs - top).sum(axis=0))
    return found


def _times(matrices: Array, vectors: Array) -> Array:
    """The product of each matrix with its vector."""
    found: Array = (matrices @ vectors[:, :, None])[:, :, 0]
    return found


def _shares(series: Series) -> _Shares:
    """Wander is counted back from the last point, where it is part of the level; so are the steps."""
    from scipy.linalg import cholesky  # heavy, and wanted by the pages of drift alone
    from scipy.linalg.lapack import dtrtrs

    count = len(series.error)
    wander = SHARES * series.usual**2 / series.pace
    alike = np.minimum.outer(-series.ahead, -series.ahead)
    scatter = np.diag(series.standard**2)
    factor = np.array([cholesky(scatter + each * alike, lower=True, check_finite=False) for each in wander])
    steps = np.tri(count, count - 1, -1) == 0  # column k is one up to point k
    columns = np.asfortranarray(np.column_stack([series.error, np.ones(count), series.ahead, steps]))
    white = np.array([dtrtrs(each, columns, lower=1)[0] for each in factor])
    return _Shares(
        wander=wander,
        alike=alike,
        factor=factor,
        error=white[:, :, 0],
        trend=white[:, :, 1:3],
        steps=white[:, :, 3:],
        lengths=np.sum(white[:, :, 3:] ** 2, axis=1),
        log_determinant=np.sum(np.log(np.diagonal(factor, axis1=1, axis2=2)), axis=1),
    )
