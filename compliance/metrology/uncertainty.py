"""An uncertainty budget: components, combined, effective degrees of freedom, coverage factor, expanded."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from math import floor, fsum, inf, isfinite, sqrt

from .distribution import Spread

COVERAGE = "Give a coverage probability from 0.5 to 0.999."


class Distribution(StrEnum):
    """The shape assumed for one component."""

    NORMAL = "normal"
    RECTANGULAR = "rectangular"


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """One line of a budget.

    `value` is the half-width (rectangular) or the standard uncertainty (normal) and `standard` the standard
    uncertainty, both in the unit of the budget; `degrees_of_freedom` may be infinite; `why` says where it comes from.
    """

    name: str
    value: float
    distribution: Distribution
    standard: float
    degrees_of_freedom: float
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """Components with their combined standard uncertainty, effective degrees of freedom, k and U = k·u.

    `spread` is the distribution of their sum, centred on zero, all in the unit of the components.
    """

    components: tuple[Component, ...]
    combined: float
    effective_degrees_of_freedom: float
    coverage_factor: float
    expanded: float
    spread: Spread = field(compare=False, repr=False)


def rectangular(name: str, half_width: float, why: str) -> Component:
    """A component known to lie within ±half_width: u = a/√3.

    Raises:
        ValueError: if the half-width is negative or not finite.

    Source: JCGM 100:2008 4.3.7.
    """
    _not_negative(name, half_width)
    return Component(
        name=name,
        value=half_width,
        distribution=Distribution.RECTANGULAR,
        standard=half_width / sqrt(3),
        degrees_of_freedom=inf,
        why=why,
    )


def digit(name: str, resolution: float, why: str) -> Component:
    """The rounding of a display that shows steps of `resolution`: u = d/(2√3).

    Raises:
        ValueError: if the resolution is negative or not finite.

    Source: JCGM 100:2008 F.2.2.1.
    """
    return rectangular(name, resolution / 2, why)


def normal(name: str, standard: float, why: str, degrees_of_freedom: float = inf) -> Component:
    """A component given by its standard uncertainty.

    Raises:
        ValueError: if the uncertainty is negative or not finite, or the degrees of freedom are not above zero.
    """
    _not_negative(name, standard)
    if not degrees_of_freedom > 0:
        raise ValueError(f"{name}: give degrees of freedom above zero.")
    return Component(
        name=name,
        value=standard,
        distribution=Distribution.NORMAL,
        standard=standard,
        degrees_of_freedom=degrees_of_freedom,
        why=why,
    )


def combine(components: Sequence[Component], coverage: float = 0.95) -> Budget:
    """The combined and the expanded uncertainty of a sum of independent components, in their common unit.

    Of normal components alone k is Student's t for the effective degrees of freedom, truncated to a whole number. With
    rectangular ones it is that of the shape of their sum: rectangles convolved with the t of the normal components. So a
    dominant rectangle has k = 1.65 and two equal ones 1.90, many tend to 1.96, and few degrees of freedom beside
    rectangles ask for more than Welch-Satterthwaite over all of them gives.

    Args:
        components: at least one.
        coverage: probability, 0.5 to 0.999.

    Raises:
        ValueError: without components, or for a coverage out of range.

    Source: JCGM 100:2008 5.1.2, G.4.1 eq. (G.2b), G.6.4; JCGM 101:2008 for the shape of the sum. EA-4/02 M:2022 S9.14
    and S10.13 give the limits of one and two dominant rectangles.
    """
    if not components:
        raise ValueError("A budget needs at least one component.")
    if not 0.5 <= coverage <= 0.999:
        raise ValueError(COVERAGE)
    combined = sqrt(fsum(c.standard**2 for c in components))
    spread = _spread(components)
    factor = _factor(components, spread, combined, coverage)
    return Budget(
        components=tuple(components),
        combined=combined,
        effective_degrees_of_freedom=effective_degrees_of_freedom(components),
        coverage_factor=factor,
        expanded=factor * combined,
        spread=spread,
    )


def _factor(components: Sequence[Component], spread: Spread, combined: float, coverage: float) -> float:
    if not any(spread.half_widths):
        return coverage_factor(effective_degrees_of_freedom(components), coverage)
    return spread.half_width(coverage) / combined


def _spread(components: Sequence[Component]) -> Spread:
    """Rectangles as they are; the normal components as one t with their own effective degrees of freedom."""
    bells = [c for c in components if c.distribution is not Distribution.RECTANGULAR]
    return Spread(
        tuple(c.value for c in components if c.distribution is Distribution.RECTANGULAR),
        sqrt(fsum(c.standard**2 for c in bells)),
        _whole(effective_degrees_of_freedom(bells)),
    )


def effective_degrees_of_freedom(components: Sequence[Component]) -> float:
    """Welch-Satterthwaite, not truncated; infinite where no component has finite degrees of freedom.

    Source: JCGM 100:2008 eq. (G.2b).
    """
    variance = fsum(c.standard**2 for c in components)
    if variance == 0:
        return inf
    # Shares of the variance keep fourth powers of small numbers from vanishing.
    shares = fsum((c.standard**2 / variance) ** 2 / c.degrees_of_freedom for c in components)
    return 1 / shares if shares > 0 else inf


def coverage_factor(degrees_of_freedom: float, coverage: float = 0.95) -> float:
    """Two-sided quantile of Student's t for degrees of freedom above zero and a coverage of 0.5 to 0.999.

    The degrees of freedom are rounded to one decimal, as the example in G.4.1 does, and then truncated to a whole
    number, at least 1.

    Raises:
        ValueError: for values out of these ranges.

    Source: JCGM 100:2008 table G.2 and G.4.1.
    """
    if not degrees_of_freedom > 0:
        raise ValueError("Give degrees of freedom above zero; infinity where the uncertainty is known exactly.")
    if not 0.5 <= coverage <= 0.999:
        raise ValueError(COVERAGE)
    from scipy.special import ndtri, stdtrit  # heavy, and only wanted by a check

    quantile, whole = (1 + coverage) / 2, _whole(degrees_of_freedom)
    return float(stdtrit(whole, quantile) if isfinite(whole) else ndtri(quantile))


def _whole(degrees_of_freedom: float) -> float:
    return float(max(1, floor(round(degrees_of_freedom, 1)))) if isfinite(degrees_of_freedom) else inf


def _not_negative(name: str, value: float) -> None:
    if not (isfinite(value) and value >= 0):
        raise ValueError(f"{name}: give a width of zero or more, not {value}.")
