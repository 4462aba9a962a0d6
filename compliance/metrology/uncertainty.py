"""An uncertainty budget: components, combined, coverage factor, expanded."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from math import fsum, isfinite, sqrt
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .distribution import Spread

COVERAGE = "Give a coverage probability from 0.5 to 0.999."


def load() -> None:
    """Load what the first budget would, for whoever is about to hold a lock: it takes a fifth of a second."""
    from scipy.optimize import brentq  # noqa: F401
    from scipy.special import ndtr  # noqa: F401

    from .distribution import Spread  # noqa: F401


class Distribution(StrEnum):
    """The shape assumed for one component."""

    NORMAL = "normal"
    RECTANGULAR = "rectangular"


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """One line of a budget.

    `value` is the half-width (rectangular) or the standard uncertainty (normal) and `standard` the standard
    uncertainty, both in the unit of the budget; `why` says where it comes from.
    """

    name: str
    value: float
    distribution: Distribution
    standard: float
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """Components with their combined standard uncertainty, k and U = k·u.

    `spread` is the distribution of their sum, centred on zero, all in the unit of the components.
    """

    components: tuple[Component, ...]
    combined: float
    coverage_factor: float
    expanded: float
    spread: "Spread" = field(compare=False, repr=False)


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
        why=why,
    )


def digit(name: str, resolution: float, why: str) -> Component:
    """The rounding of a display that shows steps of `resolution`: u = d/(2√3).

    Raises:
        ValueError: if the resolution is negative or not finite.

    Source: JCGM 100:2008 F.2.2.1.
    """
    return rectangular(name, resolution / 2, why)


def normal(name: str, standard: float, why: str) -> Component:
    """A component given by its standard uncertainty.

    Raises:
        ValueError: if the uncertainty is negative or not finite.
    """
    _not_negative(name, standard)
    return Component(
        name=name,
        value=standard,
        distribution=Distribution.NORMAL,
        standard=standard,
        why=why,
    )


def combine(components: Sequence[Component], coverage: float = 0.95) -> Budget:
    """The combined and the expanded uncertainty of a sum of independent components, in their common unit.

    Of normal components alone k is that of a normal distribution; each is known as well as it is said to be, so no degrees
    of freedom enter. With rectangular ones it is that of the shape of their sum: rectangles convolved with the normal
    components. So a dominant rectangle has k = 1.65 and two equal ones 1.90, and many tend to 1.96.

    Args:
        components: at least one.
        coverage: probability, 0.5 to 0.999.

    Raises:
        ValueError: without components, or for a coverage out of range.

    Source: JCGM 100:2008 5.1.2 and table G.1; JCGM 101:2008 for the shape of the sum. EA-4/02 M:2022 S9.14 and S10.13 give
    the limits of one and two dominant rectangles.
    """
    if not components:
        raise ValueError("A budget needs at least one component.")
    if not 0.5 <= coverage <= 0.999:
        raise ValueError(COVERAGE)
    combined = sqrt(fsum(c.standard**2 for c in components))
    spread = _spread(components)
    factor = spread.half_width(coverage) / combined if any(spread.half_widths) else _normal(coverage)
    return Budget(
        components=tuple(components),
        combined=combined,
        coverage_factor=factor,
        expanded=factor * combined,
        spread=spread,
    )


def _spread(components: Sequence[Component]) -> "Spread":
    """Rectangles as they are; the normal components as one."""
    from .distribution import Spread

    bells = [c for c in components if c.distribution is not Distribution.RECTANGULAR]
    return Spread(
        tuple(c.value for c in components if c.distribution is Distribution.RECTANGULAR),
        sqrt(fsum(c.standard**2 for c in bells)),
    )


def _normal(coverage: float) -> float:
    from scipy.special import ndtri  # heavy, and only wanted by a check

    return float(ndtri((1 + coverage) / 2))


def _not_negative(name: str, value: float) -> None:
    if not (isfinite(value) and value >= 0):
        raise ValueError(f"{name}: give a width of zero or more, not {value}.")
