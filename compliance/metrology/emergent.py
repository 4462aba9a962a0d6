"""The column of a liquid-in-glass thermometer that stands out of the bath, at another temperature than its bulb."""

from dataclasses import dataclass
from enum import StrEnum
from math import isfinite

from .conduction import ROOM


class Liquid(StrEnum):
    """What the column is made of; a food thermometer holds no mercury."""

    MERCURY = "mercury"
    PETROLEUM = "petroleum"
    ALCOHOL = "alcohol"


# Per °C, expansion of the liquid less that of the glass; seen in guidance for calibrating glass thermometers.
EXPANSIONS: dict[Liquid, float] = {
    Liquid.MERCURY: 0.00016,
    Liquid.PETROLEUM: 1 / 1100,
    Liquid.ALCOHOL: 1 / 1000,
}
SHARE = 0.1  # of k, by which glasses and liquids of one name differ; judgement
STEM_SPREAD = 10.0  # °C, half-width of the mean temperature of a column in air; judgement
LOWEST_MARK = 25.0  # mm from the end of the bulb to the lowest mark; judgement
LOWEST_SHOWN = -20.0  # °C at that mark; judgement
DEGREE = 1.0  # mm of the scale of a kitchen's glass thermometer; judgement
LEFT_TO_READ = 5.0  # °C of column that somebody who immersed it "to the top" leaves out to read it; judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class Emergent:
    """`correction` in °C to add to the reading; `half_width` in °C within which it is known (rectangular)."""

    correction: float
    half_width: float


def emergent_correction(degrees: float, bulb: float, stem: float, liquid: Liquid = Liquid.ALCOHOL) -> float:
    """What to add to the reading of a thermometer made for total immersion, °C: k·n·(T_bulb - T_stem).

    Args:
        degrees: n, the length of column outside, in °C of its scale, 0 to 400.
        bulb: temperature of the bulb, °C, -100 to 400.
        stem: mean temperature of the column outside, °C, -50 to 150.
        liquid: what the column is made of.

    Raises:
        ValueError: for values out of these ranges.

    Source: k·n·(T - t), with k for each liquid, as guidance for glass thermometers gives it (seen).
    """
    if not (isfinite(degrees) and 0 <= degrees <= 400):
        raise ValueError("Give the length of the column outside in degrees of its scale, from 0 to 400.")
    if not -100 <= bulb <= 400:
        raise ValueError("Give the temperature of the bulb in °C, from -100 to 400.")
    if not -50 <= stem <= 150:
        raise ValueError("Give the mean temperature of the column outside in °C, from -50 to 150.")
    return EXPANSIONS[liquid] * degrees * (bulb - stem)


def judge_emergent(
    bulb: float, immersion: float | None, liquid: Liquid = Liquid.ALCOHOL, stem: float = ROOM
) -> Emergent:
    """The correction for a kitchen's glass thermometer, from how deep it is in.

    Where the depth was measured, the column outside is taken from the usual layout of a scale, and so the correction is
    known no better than by its own size. Where it was not, the column is taken to be immersed but for what is needed to
    read it, and nothing is corrected.

    Args:
        bulb: temperature of the bath, °C, -20 to 110.
        immersion: depth from the end of the bulb, mm, 0 to 1000, or None.
        liquid: what the column is made of; alcohol where nobody stated it, which expands most.
        stem: mean temperature of the column outside, °C, -50 to 150.

    Raises:
        ValueError: for values out of these ranges.

    Source: `emergent_correction`; the layout of the scale and the half-widths are judgement.
    """
    if not -20 <= bulb <= 110:
        raise ValueError("Give the temperature of the bath in °C, from -20 to 110.")
    if immersion is not None and not 0 <= immersion <= 1000:
        raise ValueError("Give the depth in mm, from 0 to 1000, or leave it out.")
    if immersion is None:
        left = abs(emergent_correction(LEFT_TO_READ, bulb, stem, liquid))
        return Emergent(correction=0.0, half_width=left + _spread(LEFT_TO_READ, 0.0, liquid))
    top = LOWEST_MARK + (bulb - LOWEST_SHOWN) / DEGREE
    degrees = max(0.0, top - max(immersion, LOWEST_MARK)) * DEGREE
    correction = emergent_correction(degrees, bulb, stem, liquid)
    return Emergent(correction=correction, half_width=abs(correction) + _spread(degrees, correction, liquid))


def _spread(degrees: float, correction: float, liquid: Liquid) -> float:
    """°C; by the temperature of the column and by k, added up."""
    return EXPANSIONS[liquid] * degrees * STEM_SPREAD + SHARE * abs(correction)
