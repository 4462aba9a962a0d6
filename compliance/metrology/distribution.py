"""How the sum of independent components spreads: rectangles convolved with a normal distribution.

Adding variances and taking k from a normal distribution is right for a sum of normal components only. With rectangles in it
the sum is narrower than that in its tails. So the sum itself is convolved.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import isfinite, sqrt

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
CELLS = 500  # of the support of the rectangles; their sum is right to about 1 in 10 000 of its width
FINEST = 1.0  # cells; a rectangle narrower than this joins the smooth part by its variance


@dataclass(frozen=True)
class Spread:
    """The distribution, centred on zero, of rectangles of these half-widths plus a normal one of this standard deviation.

    `half_widths` and `scale` in one unit, zero or more.

    Raises:
        ValueError: for values out of these ranges.

    Source: JCGM 101:2008, 6.4.2 (rectangular), 6.4.7 (normal), 5.2 (propagation of distributions).
    """

    half_widths: tuple[float, ...]
    scale: float

    def __post_init__(self) -> None:
        if not all(isfinite(width) and width >= 0 for width in (*self.half_widths, self.scale)):
            raise ValueError("Give half-widths and a scale of zero or more, not infinite.")

    def cdf(self, value: float) -> float:
        """The probability of no more than `value`, in the unit of the spread."""
        if not self._nodes.size:
            return float(self._smooth(np.array([value]))[0]) if self._scale > 0 else float(value >= 0)
        if self._scale == 0:
            return float(np.interp(value, self._edges, self._cumulated, left=0.0, right=1.0))
        return float(np.dot(self._masses, self._smooth(value - self._nodes)))

    def within(self, half_width: float) -> float:
        """The probability of ±half_width, in the unit of the spread, zero or more."""
        return max(0.0, 2 * self.cdf(half_width) - 1) if half_width > 0 else 0.0

    def half_width(self, coverage: float) -> float:
        """The half-width U that holds this share, 0.5 to 0.999, in the unit of the spread.

        Raises:
            ValueError: for a coverage out of this range.
        """
        if not 0.5 <= coverage <= 0.999:
            raise ValueError("Give a coverage probability from 0.5 to 0.999.")
        from scipy.optimize import brentq  # as heavy as all the rest here, and only wanted by a check

        top = self._support + self._smooth_reach(coverage)
        if top == 0:
            return 0.0
        return float(brentq(lambda u: self.within(u) - coverage, 0.0, top * (1 + 1e-9), xtol=1e-9 * top, rtol=1e-9))

    def _smooth_reach(self, coverage: float) -> float:
        """A half-width of the smooth part that is beyond what any coverage asks of the sum."""
        top = self._scale
        while top > 0 and 2 * float(self._smooth(np.array([top]))[0]) - 1 <= coverage:
            top *= 2
        return top

    def _smooth(self, values: Array) -> Array:
        from scipy.special import ndtr  # heavy, and only wanted by a check

        return np.asarray(ndtr(values / self._scale), dtype=np.float64)

    @cached_property
    def _support(self) -> float:
        return float(sum(self._wide))

    @cached_property
    def _wide(self) -> tuple[float, ...]:
        """The rectangles that the grid can show, the widest first."""
        ordered = sorted((width for width in self.half_widths if width > 0), reverse=True)
        finest = FINEST * 2 * sum(ordered) / CELLS
        return tuple(width for width in ordered if width >= finest)

    @cached_property
    def _scale(self) -> float:
        """Of the smooth part, with the rectangles that are too narrow for the grid; at least a cell where there is any."""
        narrow = sorted((width for width in self.half_widths if width > 0), reverse=True)[len(self._wide) :]
        scale = sqrt(self.scale**2 + sum(width**2 for width in narrow) / 3)
        cell = 2 * self._support / CELLS
        return max(scale, cell / 4) if scale > 0 else 0.0

    @cached_property
    def _edges(self) -> Array:
        return np.linspace(-self._support, self._support, CELLS + 1)

    @cached_property
    def _cumulated(self) -> Array:
        """The distribution function of the sum of the rectangles at the edges of the cells."""
        return _rectangles_cdf(self._wide, self._edges)

    @cached_property
    def _nodes(self) -> Array:
        if not self._wide:
            return np.empty(0)
        return np.asarray((self._edges[1:] + self._edges[:-1]) / 2, dtype=np.float64)

    @cached_property
    def _masses(self) -> Array:
        return np.diff(self._cumulated)


def _rectangles_cdf(half_widths: Sequence[float], at: Array) -> Array:
    """Each rectangle is a moving average: F_new(x) = (H(x + a) - H(x - a))/(2a), H the integral of F."""
    first, *others = half_widths
    found = np.clip((at + first) / (2 * first), 0.0, 1.0)
    step = float(at[1] - at[0])
    for width in others:
        integral = np.concatenate(([0.0], np.cumsum((found[1:] + found[:-1]) / 2 * step)))
        found = (_beyond(at + width, at, integral) - _beyond(at - width, at, integral)) / (2 * width)
    # What the steps of the grid cost on one side is shared by both, so that the sum stays symmetric.
    found = np.clip(found, 0.0, 1.0)
    found[0], found[-1] = 0.0, 1.0
    return np.asarray((found + 1 - found[::-1]) / 2, dtype=np.float64)


def _beyond(values: Array, at: Array, integral: Array) -> Array:
    """The integral continued past the support, where the distribution function is one."""
    inside = np.asarray(np.interp(values, at, integral), dtype=np.float64)
    return np.asarray(inside + np.maximum(values - at[-1], 0.0), dtype=np.float64)
