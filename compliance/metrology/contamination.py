"""What would have to be in the water of an ice bath to explain a probe that reads low, and whether that is plausible."""

from dataclasses import dataclass
from enum import StrEnum
from math import exp, isfinite, sqrt

CRYOSCOPIC = 1.86  # K·kg/mol, water; R·T²/L gives 1.8605 (computed)
ETHANOL = 46.07  # g/mol
SALT = 58.44  # g/mol, sodium chloride
IONS = 2
# Osmotic coefficient of sodium chloride: A of Debye and Hückel in water at 0 °C, kg^½/mol^½; β0 and β1 of K. S. Pitzer, near
# 0 °C. From memory; at 0.1 and 0.5 mol/kg they agree with the tabled depressions, 0.347 and 1.69 K, to 1 %.
DEBYE, BETA_0, BETA_1 = 0.377, 0.0532, 0.2475
LARGEST = 5.0  # K; beyond, the formulae are stretched

TEASPOON = 6.0  # g of table salt; common practice, no source
DENSITY_OF_ETHANOL = 0.79  # g/ml; from memory
SPIRIT = 0.4  # share of pure alcohol in the volume of a spirit; common practice
# g of salt per litre. Judgement, all of it.
ALWAYS_THERE = 0.35  # what tap water and traces on a stem may do together, about 0.02 °C
BY_CHANCE = 2.0  # what a badly rinsed cup or stem may leave; above, it was added
SEA = 35.0  # the sea; from memory


class Plausibility(StrEnum):
    """Whether something in the water may be the cause."""

    LIKELY = "likely"
    POSSIBLE = "possible"
    ADDED = "added"
    NO = "no"


@dataclass(frozen=True, slots=True, kw_only=True)
class Contamination:
    """What would explain a depression: `depression` in K below 0 °C, `salt` and `ethanol` in g per kg of water, how plausible
    that is, and sentences that say so."""

    depression: float
    salt: float
    ethanol: float
    plausibility: Plausibility
    sentences: tuple[str, ...]


def explain_low(depression: float) -> Contamination:
    """How much salt or alcohol in the water would make an ice bath this much colder than 0 °C.

    Args:
        depression: K below 0 °C, above 0 to 5.

    Returns:
        g per kg of water, which is a litre, and what to think of it.

    Raises:
        ValueError: for a depression out of this range.

    Source: depression of the freezing point, ΔT = i·φ·K·m with K = 1.86 K·kg/mol; φ as `osmotic_coefficient`. What is
    plausible is judgement.
    """
    salt, ethanol = salt_for(depression), ethanol_for(depression)
    plausibility = _plausibility(salt)
    needed = (
        f"It would take about {_grams(salt)} of salt{_spoons(salt)} or {_grams(ethanol)} of alcohol{_glass(ethanol)} in each "
        f"litre of the water to make the ice {_kelvin(depression)} °C colder."
    )
    return Contamination(
        depression=depression,
        salt=salt,
        ethanol=ethanol,
        plausibility=plausibility,
        sentences=(needed, SENTENCES[plausibility]),
    )


SENTENCES = {
    Plausibility.LIKELY: "Tap water or a trace on the stem may do that: it says little about the probe.",
    Plausibility.POSSIBLE: "A badly rinsed cup or stem may do that: rinse both, make the bath again and check again.",
    Plausibility.ADDED: "No badly rinsed cup does that: salt or alcohol would have been added. Make the bath anew in a clean "
    "cup, with ice from a clean source and drinking water, no salt. If it reads as low again, it is the probe.",
    Plausibility.NO: "That is more than sea water holds: it is not the bath, it is the probe.",
}


def ethanol_for(depression: float) -> float:
    """g of ethanol per kg of water for a depression in K, above 0 to 5. Raises ValueError out of this range.

    Source: ΔT = K·m, ideal, K = 1.86 K·kg/mol: 0.248 g/kg for 0.01 K (computed).
    """
    _check(depression)
    return ETHANOL * depression / CRYOSCOPIC


def salt_for(depression: float) -> float:
    """g of sodium chloride per kg of water for a depression in K, above 0 to 5. Raises ValueError out of this range.

    Source: ΔT = 2·φ·K·m: 0.160 g/kg for 0.01 K (computed).
    """
    from scipy.optimize import brentq  # as heavy as all the rest of the measurement

    _check(depression)
    ideal = depression / (IONS * CRYOSCOPIC)
    return SALT * float(brentq(lambda m: IONS * osmotic_coefficient(m) * CRYOSCOPIC * m - depression, 0.0, 2 * ideal))


def osmotic_coefficient(molality: float) -> float:
    """Of sodium chloride in water near 0 °C (no unit), molality 0 to 3 mol/kg. Raises ValueError out of this range.

    Source: the equation of Pitzer, φ - 1 = -A√m/(1 + 1.2√m) + m(β0 + β1·exp(-2√m)); constants from memory.
    """
    if not 0 <= molality <= 3:
        raise ValueError("Give the molality in mol/kg, from 0 to 3.")
    root = sqrt(molality)
    return 1 - DEBYE * root / (1 + 1.2 * root) + molality * (BETA_0 + BETA_1 * exp(-2 * root))


def _check(depression: float) -> None:
    if not (isfinite(depression) and 0 < depression <= LARGEST):
        raise ValueError("Give how far below 0 °C it reads, in °C, above 0 and up to 5.")


def _plausibility(salt: float) -> Plausibility:
    if salt <= ALWAYS_THERE:
        return Plausibility.LIKELY
    if salt <= BY_CHANCE:
        return Plausibility.POSSIBLE
    return Plausibility.ADDED if salt <= SEA else Plausibility.NO


def _grams(amount: float) -> str:
    return f"{amount:.0f} g" if amount >= 2 else f"{amount:.1f} g" if amount >= 0.1 else "less than 0.1 g"


def _spoons(salt: float) -> str:
    halves = round(2 * salt / TEASPOON)
    if halves < 1:
        return " (less than half a teaspoon)" if salt >= 1 else " (a pinch)"
    if halves == 1:
        return " (half a teaspoon)"
    count = f"{halves / 2:g}"
    return f" ({count} teaspoon{'' if count == '1' else 's'})"


def _glass(ethanol: float) -> str:
    spirit = ethanol / DENSITY_OF_ETHANOL / SPIRIT
    return f" ({5 * round(spirit / 5):.0f} ml of spirits)" if spirit >= 5 else ""


def _kelvin(depression: float) -> str:
    return f"{depression:.1f}" if depression >= 0.1 else f"{depression:.2f}"
