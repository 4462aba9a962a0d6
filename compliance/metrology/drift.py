"""How the error of a probe moves from check to check: its trend, sudden changes, and when it will leave tolerance.

The error is taken as level + slope x time + wander + scatter. Wander is a random walk, so that an error that roams
without a direction is not mistaken for a well-known line; scatter is what a check adds. How much of each there is, the
history itself says: every share of wander on a grid is fitted exactly and weighed by its likelihood, and a forecast
mixes them all. Few points leave all shares possible, which makes a forecast wide where it must be.

Source: the fit and its literature are in `local_level`; ILAC-G24 / OIML D 10 lists such control charts and trends
among the methods of choosing an interval.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf, isfinite, log, sqrt

import numpy as np
from numpy.typing import NDArray

from .local_level import Array, Mixture, Model, Series, Solution

FEWEST_POINTS = 3  # from which a trend is told; judgement
MOST_POINTS = 500  # older ones no longer count; judgement
# Logarithm of the ratio of likelihoods from which a change is told: at one check, and its growth with the logarithm of
# their number; set by simulation.
CHANGE_GAIN = 6.0
CHANGE_GAIN_GROWTH = 0.45
MOST_CHANGES = 10  # that are looked for in one history; judgement
FURTHEST = 3650  # days a forecast may reach; judgement
# Days: after one, up to another, by which steps a forecast is followed there. From step to step it changes little; judgement.
STRIDES = ((-1, 31, 1), (31, 374, 7), (374, FURTHEST, 28))
MOST_KINDS = 8  # of checks by their uncertainty, that a forecast tells apart; judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorPoint:
    """One check: `at` in days from any beginning, `error` °C, `standard` uncertainty °C (0.0001 to 100).

    `after_adjustment`: the probe was adjusted or repaired between the point before and this one.
    """

    at: float
    error: float
    standard: float
    after_adjustment: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorJump:
    """A sudden change: between the point before and the one `at` (days) the error went up by `size` ± `standard` °C.

    `position` is that of the first point after it; `known` where an adjustment explains it.
    """

    at: float
    position: int
    size: float
    standard: float
    known: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """°C: the middle of what is to be expected at a time (`at`, days), and the interval around it."""

    at: float
    low: float
    centre: float
    high: float


@dataclass(frozen=True, kw_only=True)
class Trend:
    """What a history says of a probe.

    Attributes:
        slope, slope_standard: °C per day, with its standard uncertainty.
        level, level_standard: °C, the error at the last check once scatter is averaged out, and its standard
            uncertainty.
        scatter: °C, standard deviation that one check adds.
        wander: °C over one day, standard deviation of the roaming; over d days √d times as much.
        first, last: days, the times of the points that count.
        count: how many points count.
        standard: °C, the usual standard uncertainty of a check: the median.
        kinds: kinds of checks by their uncertainty: standard uncertainty °C, and the share (0 to 1) of the checks.
        times, smoothed: days and °C, the error at each point with the scatter averaged out.
        changes: sudden changes, in order.
        mixture: what forecasts are made from.
    """

    slope: float
    slope_standard: float
    level: float
    level_standard: float
    scatter: float
    wander: float
    first: float
    last: float
    count: int
    standard: float
    kinds: tuple[tuple[float, float], ...]
    times: tuple[float, ...]
    smoothed: tuple[float, ...]
    changes: tuple[ErrorJump, ...]
    mixture: Mixture

    def predict(
        self, at: float, coverage: float = 0.95, *, measured: bool = True, standard: float | None = None
    ) -> Prediction:
        """What to expect at a time from the last check on.

        Args:
            at: days, from the last check to 3650 days later.
            coverage: probability of the interval, 0.5 to 0.999.
            measured: of the error that a check would find; else of the true error, which has no scatter but may be
                off by whatever all checks have in common.
            standard: °C, 0.0001 to 100, standard uncertainty of the check to come; None if it is not known: then it
                may be like any of the checks so far. It tells nothing of the true error.

        Returns:
            The interval in °C, with equal probability beyond either end.

        Raises:
            ValueError: for a time, a coverage or a standard uncertainty out of range.

        Source: posterior predictive distribution, Gelman et al. (2013), 14.3; see the module.
        """
        _check_probability(coverage)
        ahead = np.array([_ahead(self, at)])
        mix, extra = _next_check(self, standard) if measured else (self.mixture, _unseen(self))
        centres, scales = mix.spread(ahead, extra)
        tail = (1 - coverage) / 2
        return Prediction(
            at=at,
            low=mix.quantile(tail, centres, scales),
            centre=float((centres @ mix.weight)[0]),
            high=mix.quantile(1 - tail, centres, scales),
        )

    def probability_outside(self, at: float, tolerance: float) -> float:
        """The probability (0 to 1) that the true error is beyond tolerance at a time.

        Args:
            at: days, from the last check to 3650 days later.
            tolerance: °C, above zero; the error may be -tolerance to +tolerance.

        Raises:
            ValueError: for a time out of range or a tolerance not above zero.

        Source: JCGM 106:2012, clause 7, with the forecast as the distribution of the error.
        """
        return float(_outside(self, np.array([_ahead(self, at)]), _tolerance(tolerance))[0])


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """When the error and its uncertainty leave tolerance, in days on the clock of the points; None if not within 3650 days.

    `central`: when the expected error and the expanded uncertainty of a check (k = 2) together reach the tolerance.
    `earliest`: until then they stay within with the asked probability.
    """

    central: float | None
    earliest: float | None


def trend(points: Sequence[ErrorPoint], changes: Sequence[int] | None = None) -> Trend:
    """The trend of a history, with what forecasts need.

    Args:
        points: 3 or more, in order of time; days, °C, °C. Only the newest 500 count.
        changes: positions in `points` of the first point after each sudden change that is to be allowed for, beside
            the adjustments; None to find them.

    Raises:
        ValueError: for fewer than 3 points, points out of order, values that are not finite or out of range.

    Source: see the module.
    """
    check_points(points)
    if len(points) < FEWEST_POINTS:
        raise ValueError(f"A trend needs at least {FEWEST_POINTS} checks with a figure; there are {len(points)}.")
    dropped = max(0, len(points) - MOST_POINTS)
    kept = points[dropped:]
    model = Model(_series(kept))
    known = {position for position, point in enumerate(kept) if position and point.after_adjustment}
    found = _search(model, known) if changes is None else {n - dropped for n in changes if dropped < n < len(points)}
    return _trend(model, kept, dropped, known, sorted(known | found))


def leaves_tolerance(history: Trend, tolerance: float, probability: float = 0.95) -> Crossing:
    """When a probe is expected to leave tolerance, and until when it is safely within.

    Args:
        history: the trend, days and °C.
        tolerance: °C, above zero; the error may be -tolerance to +tolerance.
        probability: of being within tolerance until `earliest`, 0.5 to 0.999.

    Returns:
        Times in days, a whole number of days after the last check; the time of the last check itself if it is so far
        already; None where it does not come to that within 3650 days.

    Raises:
        ValueError: for a tolerance or a probability out of range.

    Source: JCGM 106:2012, clause 7, with the forecast as the distribution of the error.
    """
    _check_probability(probability)
    ahead = np.arange(FURTHEST + 1.0)
    room = _tolerance(tolerance) - 2 * history.standard
    expected = np.abs(history.level + history.slope * ahead) > room
    central = _first(history.last + ahead, expected)
    for begin, end, step in STRIDES:  # what is far ahead is rarely asked
        days = ahead[begin + step : end + 1 : step]
        reached = _reached(history, room, probability, days) | expected[days.astype(int)]
        if reached.any():
            last = int(days[np.argmax(reached)])
            days = ahead[last - step + 1 : last + 1]
            reached = _reached(history, room, probability, days) | expected[days.astype(int)]
            return Crossing(central=central, earliest=_first(history.last + days, reached))
    return Crossing(central=central, earliest=None)


def _reached(history: Trend, room: float, probability: float, days: Array) -> NDArray[np.bool_]:
    """Whether the error may be beyond `room` (°C) on these days after the last check."""
    mix = history.mixture
    centres, scales = mix.spread(days, np.zeros_like(mix.weight))
    beyond: Array = 1 - mix.cumulated(room, centres, scales) + mix.cumulated(-room, centres, scales)
    return beyond > 1 - probability


def days_within(history: Trend, tolerance: float, probability: float, most: int = 90) -> int:
    """Whole days after the last check for which the true error stays in tolerance with a probability.

    Args:
        history: the trend, days and °C.
        tolerance: °C, above zero.
        probability: 0.5 to 0.999, at the end of those days.
        most: days, 1 to 3650, that are looked ahead.

    Returns:
        0 to `most` days.

    Raises:
        ValueError: for values out of range.

    Source: JCGM 106:2012, clause 7, with the forecast as the distribution of the error.
    """
    if not 1 <= most <= FURTHEST:
        raise ValueError(f"Give the days to look ahead from 1 to {FURTHEST:.0f}.")
    _check_probability(probability)
    beyond = _outside(history, np.arange(1.0, most + 1), _tolerance(tolerance)) > 1 - probability
    return int(np.argmax(beyond)) if beyond.any() else most


def _check_probability(probability: float) -> None:
    if not 0.5 <= probability <= 0.999:
        raise ValueError("Give a probability from 0.5 to 0.999.")


def _first(times: Array, reached: NDArray[np.bool_]) -> float | None:
    return float(times[np.argmax(reached)]) if reached.any() else None


def _tolerance(tolerance: float) -> float:
    if not 0 < tolerance < inf:
        raise ValueError("Give a tolerance above zero, in °C.")
    return tolerance


def check_points(points: Sequence[ErrorPoint]) -> None:
    """Refuse points (days, °C, °C) that are not finite, out of range or out of order.

    Raises:
        ValueError: saying what to give.
    """
    for point in points:
        if not (isfinite(point.at) and isfinite(point.error) and 1e-4 <= point.standard <= 100):
            raise ValueError("Give times in days, errors in °C, and standard uncertainties from 0.0001 to 100 °C.")
    if any(later.at < earlier.at for earlier, later in pairwise(points)):
        raise ValueError("Give the points in order of time.")


def _series(points: Sequence[ErrorPoint]) -> Series:
    times = np.array([point.at for point in points])
    standard = np.array([point.standard for point in points])
    span = float(times[-1] - times[0])
    return Series(
        ahead=times - times[-1],
        error=np.array([point.error for point in points]),
        standard=standard,
        usual=float(np.median(standard)),
        pace=span / (len(points) - 1) if span > 0 else 1.0,
    )


def _search(model: Model, known: set[int]) -> set[int]:
    """The likeliest step again and again, as long as it is likelier than chance would make it."""
    found: set[int] = set()
    while len(found) < MOST_CHANGES:
        gains = model.gains(sorted(known | found))
        gains[[position - 1 for position in known | found]] = -inf
        best = int(np.argmax(gains))
        if gains[best] <= CHANGE_GAIN + CHANGE_GAIN_GROWTH * log(len(gains) + 1):
            break
        found.add(best + 1)
    return found


def _trend(model: Model, points: Sequence[ErrorPoint], dropped: int, known: set[int], positions: list[int]) -> Trend:
    solution = model.solve(positions)
    mix, series = solution.mixture, model.series
    inflation = mix.freedom / (mix.freedom - 2)  # of Student's t: variance over squared scale
    level, slope = float(mix.weight @ mix.level), float(mix.weight @ mix.slope)
    return Trend(
        slope=slope,
        slope_standard=sqrt(float(mix.weight @ (mix.slope_variance * inflation + (mix.slope - slope) ** 2))),
        level=level,
        level_standard=sqrt(float(mix.weight @ (mix.level_variance * inflation + (mix.level - level) ** 2))),
        scatter=sqrt(float(mix.weight @ mix.scatter)) * series.usual,
        wander=sqrt(float(mix.weight @ mix.wander)),
        first=points[0].at,
        last=points[-1].at,
        count=len(points),
        standard=series.usual,
        kinds=_kinds(series.standard),
        times=tuple(point.at for point in points),
        smoothed=tuple(solution.smoothed.tolist()),
        changes=_changes(solution, points, dropped, known, positions),
        mixture=mix,
    )


def _changes(
    solution: Solution, points: Sequence[ErrorPoint], dropped: int, known: set[int], positions: list[int]
) -> tuple[ErrorJump, ...]:
    sizes = zip(positions, solution.steps.tolist(), solution.steps_standard.tolist(), strict=True)
    return tuple(
        ErrorJump(
            at=points[position].at, position=position + dropped, size=size, standard=standard, known=position in known
        )
        for position, size, standard in sizes
    )


def _ahead(history: Trend, at: float) -> float:
    if not 0 <= at - history.last <= FURTHEST:
        raise ValueError(f"Give a time from the last check (day {history.last:g}) to {FURTHEST} days after it.")
    return at - history.last


def _kinds(standards: Array) -> tuple[tuple[float, float], ...]:
    """Uncertainties (°C) with their shares; many are put together with their like, by the mean of their variances."""
    values, counts = np.unique(standards, return_counts=True)
    if len(values) > MOST_KINDS:
        groups = np.array_split(np.sort(standards), MOST_KINDS)
        values = np.array([sqrt(float(np.mean(group**2))) for group in groups])
        counts = np.array([len(group) for group in groups])
    return tuple(zip(values.tolist(), (counts / len(standards)).tolist(), strict=True))


def _next_check(history: Trend, standard: float | None) -> tuple[Mixture, Array]:
    """What a check to come is foretold from: a mixture, and what its scatter adds to it in °C²."""
    if standard is not None and not 1e-4 <= standard <= 100:
        raise ValueError("Give the standard uncertainty of the check to come from 0.0001 to 100 °C, or none.")
    kinds = history.kinds if standard is None else ((standard, 1.0),)
    values, shares = np.array(kinds).T
    mix = history.mixture.split(shares)
    return mix, mix.scatter * np.tile(values**2, len(history.mixture.weight))


def _unseen(history: Trend) -> Array:
    """°C²: what of the stated uncertainty does not show as scatter may be the same in each check."""
    return np.asarray(np.maximum(0.0, 1 - history.mixture.scatter) * history.standard**2)


def _outside(history: Trend, ahead: Array, tolerance: float) -> Array:
    """The probability that the true error is beyond tolerance (°C), one a time (days after the last check)."""
    centres, scales = history.mixture.spread(ahead, _unseen(history))
    above = 1 - history.mixture.cumulated(tolerance, centres, scales)
    return np.clip(above + history.mixture.cumulated(-tolerance, centres, scales), 0.0, 1.0)
