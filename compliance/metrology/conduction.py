"""Warmth that comes down the stem: a metal sheath as a fin, from the air above into the bath."""

from math import cosh, isfinite, sinh, sqrt, tanh

from .vocabulary import Medium

STEEL = 16.0  # W/(m·K), austenitic stainless steel near room temperature; from memory. As if solid: a tube carries less
STILL_AIR = 15.0  # W/(m²·K), a thin stem in a kitchen's air, radiation included; judgement
# W/(m²·K) around the stem, from the low end of what may be expected; judgement.
FILMS: dict[Medium, float] = {
    Medium.PACKED_ICE: 300.0,
    Medium.ICE_WATER: 200.0,
    Medium.BOILING_WATER: 1000.0,
    Medium.STEAM: 2000.0,
}
SENSING_LENGTH = 5.0  # mm at the tip over which a food probe feels; judgement
BIMETAL_LENGTH = 60.0  # mm of coil in the stem of a dial thermometer; judgement
USUAL_DIAMETER = 4.0  # mm, of a food probe whose diameter nobody stated; judgement
ROOM = 25.0  # °C of a kitchen and of the hand's end of the stem; judgement
DEEPEST = 1000.0  # mm
FLAT = 1e-6  # below this, sinh(x)/x is one


def stem_error(
    depth: float,
    diameter: float | None,
    medium: Medium,
    reference: float,
    surroundings: float = ROOM,
    sensing: float = SENSING_LENGTH,
) -> float:
    """By how much the tip of a metal stem differs from what surrounds it, because the stem leads to the room.

    The stem is a long fin in still air above and a fin with an insulated end in the medium; both carry the same heat where
    they meet. What the sensor feels is the mean over its length; what of that stands out is taken to feel the room.

    Args:
        depth: how deep the stem is immersed, mm, 0 to 1000.
        diameter: of the stem, mm, 0.1 to 50; None for the usual 4 mm.
        medium: what surrounds it.
        reference: its temperature, °C, -50 to 150.
        surroundings: of the room, °C, -50 to 60.
        sensing: length at the tip that feels, mm, 1 to 200.

    Returns:
        °C, sensor minus medium: above zero in ice, below zero in boiling water.

    Raises:
        ValueError: for values out of these ranges.

    Source: one-dimensional conduction in a fin with an insulated end, θ/θ₀ = cosh(m(L - x))/cosh(mL) with m = √(4h/(kD)),
    a textbook result (from memory); ASME PTC 19.3 uses the same for thermowells (from memory). Coefficients as above.
    """
    _check(depth, diameter, reference, surroundings, sensing)
    outer = surroundings - reference
    length, thick = depth / 1000, (diameter or USUAL_DIAMETER) / 1000
    inside, outside = (sqrt(4 * film / (STEEL * thick)) for film in (FILMS[medium], STILL_AIR))
    # Deeper than this nothing is left to tell, and cosh would overflow.
    reach = min(inside * length, 300.0)
    surface = outer * outside / (outside + inside * tanh(reach))
    felt = min(inside * sensing / 1000, reach)
    mean = sinh(felt) / felt if felt > FLAT else 1.0
    covered = min(1.0, depth / sensing)
    return covered * surface * mean / cosh(reach) + (1 - covered) * outer


def _check(depth: float, diameter: float | None, reference: float, surroundings: float, sensing: float) -> None:
    if not (isfinite(depth) and 0 <= depth <= DEEPEST):
        raise ValueError("Give the depth of the stem in mm, from 0 to 1000.")
    if diameter is not None and not 0.1 <= diameter <= 50:
        raise ValueError("Give the diameter of the stem in mm, from 0.1 to 50, or leave it out.")
    if not -50 <= reference <= 150:
        raise ValueError("Give the temperature of the bath in °C, from -50 to 150.")
    if not -50 <= surroundings <= 60:
        raise ValueError("Give the temperature of the room in °C, from -50 to 60.")
    if not 1 <= sensing <= 200:
        raise ValueError("Give the length of the sensor in mm, from 1 to 200.")
