"""How hot boiling water or its steam is here: from the air's pressure and the pan to a reference and its uncertainty.

What the pan adds is common practice and judgement; what the pressure says is IAPWS R7-97 and `air_pressure`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from math import ceil, sqrt

from .air_pressure import Surroundings, air_pressure, in_hpa, is_undecided, lines_of_the_air
from .conformity import DecisionRule
from .reference import Reference
from .settling import ROOM_ABOVE_BATH, Settling, SettlingState, TimedValue, judge_settling
from .steam import saturation_temperature
from .uncertainty import Component, combine, rectangular
from .verification import Instrument, Verification, verify_against
from .vocabulary import Medium, Verdict

CUSTOMARY_BAND = 99.0, 101.0  # °C in boiling water; common practice, fit for kitchens near sea level only

ROOM_BELOW = 80.0  # °C; how far a probe starts below boiling, judgement
LONGER_WAY = ROOM_BELOW / ROOM_ABOVE_BATH
EBULLIOSCOPIC = 0.512  # K·kg/mol, water; CRC Handbook, from memory
SALT_MOLAR_MASS = 58.44  # g/mol, sodium chloride; IUPAC atomic weights
HARDEST_WATER = 1.0  # g/kg dissolved in water that people still drink; WHO drinking-water guidelines, from memory


class BoilingKind(StrEnum):
    """What the probe is held in."""

    STEAM = "steam"
    ROLLING = "rolling"
    QUIET = "quiet"
    UNCONFIRMED = "unconfirmed"


class BoilingPoint(StrEnum):
    """The preparation of the pan and of the probe, point by point, in the order of the work."""

    FRESH = "fresh"
    BOILED_HARD = "boiled_hard"
    COVERED = "covered"
    STEM_CLEANED = "stem_cleaned"
    CLEAR = "clear"
    IMMERSED = "immersed"
    WAITED = "waited"


# Without these, what the probe feels need not be boiling water or its steam at all.
CRITICAL: dict[BoilingKind, tuple[BoilingPoint, ...]] = {
    BoilingKind.STEAM: (BoilingPoint.BOILED_HARD, BoilingPoint.COVERED, BoilingPoint.IMMERSED),
    BoilingKind.ROLLING: (
        BoilingPoint.FRESH,
        BoilingPoint.BOILED_HARD,
        BoilingPoint.CLEAR,
        BoilingPoint.IMMERSED,
    ),
}
# What still counts in each kind before its best width is granted.
WANTED: dict[BoilingKind, tuple[BoilingPoint, ...]] = {
    BoilingKind.STEAM: tuple(BoilingPoint),
    BoilingKind.ROLLING: tuple(point for point in BoilingPoint if point is not BoilingPoint.COVERED),
}
MISSING: dict[BoilingPoint, str] = {
    BoilingPoint.FRESH: "The water was not known to be fresh and free of salt, which makes it boil hotter.",
    BoilingPoint.BOILED_HARD: "It did not boil hard all over, and a quiet pan is hotter or colder than its boiling point.",
    BoilingPoint.COVERED: "No lid kept the air out, and steam mixed with air is colder.",
    BoilingPoint.STEM_CLEANED: "The stem was not cleaned, and what clings to it slows the probe down.",
    BoilingPoint.CLEAR: "The probe was not kept clear of the bottom and the sides, which are hotter.",
    BoilingPoint.IMMERSED: "The probe was not in deep enough, so its stem cooled it.",
    BoilingPoint.WAITED: "The probe was not left to settle.",
}
# The same where nobody said that it was left out.
UNCONFIRMED: dict[BoilingPoint, str] = {
    BoilingPoint.FRESH: "Not confirmed: that the water was fresh and free of salt, which makes it boil hotter.",
    BoilingPoint.BOILED_HARD: "Not confirmed: that it boiled hard all over; a quiet pan is hotter or colder than its "
    "boiling point.",
    BoilingPoint.COVERED: "Not confirmed: that a lid kept the air out; steam mixed with air is colder.",
    BoilingPoint.STEM_CLEANED: "Not confirmed: that the stem was clean; what clings to it slows the probe down.",
    BoilingPoint.CLEAR: "Not confirmed: that the probe was clear of the bottom and the sides, which are hotter.",
    BoilingPoint.IMMERSED: "Not confirmed: that the probe was in deep enough for its stem not to cool it.",
    BoilingPoint.WAITED: "Not confirmed: that the probe was left to settle.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class BoilingPreparation:
    """What the probe was held in, which points of its preparation were met, and which were `left` out, as somebody said."""

    kind: BoilingKind
    points: frozenset[BoilingPoint]
    left: frozenset[BoilingPoint] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class BoilingWidths:
    """Half-widths in °C within which water or steam has the temperature at which water boils under the air's pressure.

    Steam: drops and a little air. Rolling water: some tenths of superheat, and 0.14 °C for each 50 mm of water above the
    tip. Source: judgement, all three.
    """

    steam: float = 0.1
    rolling: float = 0.2
    incomplete: float = 0.4

    def __post_init__(self) -> None:
        if not 0 < self.steam <= self.rolling <= self.incomplete:
            raise ValueError(
                "Give half-widths above 0 °C that grow from steam to rolling water and to an incomplete one."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Boiling(Reference):
    """Boiling water or steam as a reference, under `pressure` in Pa, with the points of preparation that are missing."""

    pressure: float
    missing: tuple[BoilingPoint, ...] = field(default=())


def lacks(kind: BoilingKind, missing: frozenset[BoilingPoint]) -> tuple[BoilingPoint, ...]:
    """Of the points that are missing, those without which it stands for no temperature (no unit)."""
    return tuple(point for point in CRITICAL.get(kind, ()) if point in missing)


def judge_boiling_reference(
    preparation: BoilingPreparation, surroundings: Surroundings, widths: BoilingWidths | None = None
) -> Boiling:
    """The reference that boiling water or its steam gives here.

    Args:
        preparation: the pan and the probe, point by point (no unit).
        surroundings: the air's pressure, Pa, and the altitude, m, -450 to 6000.
        widths: half-widths in °C in place of the usual ones.

    Returns:
        The temperature in °C with its lines of the budget, whether it can serve at all, and what is missing, in words.

    Raises:
        ValueError: for an altitude out of range, a pressure that is missing or cannot be, and one that can only be of
            the other kind: at sea level where a barometer's on the spot is asked for, or the reverse.

    Source: IAPWS R7-97(2012) eq. (31); ICAO Doc 7488 where the pressure is not measured on the spot.
    """
    widths = widths or BoilingWidths()
    pressure = air_pressure(surroundings)
    kind = preparation.kind
    missing = tuple(point for point in WANTED.get(kind, ()) if point not in preparation.points)
    serves = kind in WANTED and not lacks(kind, frozenset(missing))
    usable = serves and not is_undecided(surroundings)
    components = (*lines_of_the_air(surroundings, pressure), *_of_the_pan(kind, missing, widths))
    temperature, within = saturation_temperature(pressure), combine(components).expanded
    opening = f"Water boils at {temperature:.1f} °C here, under {in_hpa(pressure)}, within {_up(within)} °C."
    said = (MISSING if point in preparation.left else UNCONFIRMED for point in missing)
    lacking = (
        (UNUSABLE[kind],)
        if kind in UNUSABLE
        else tuple(words[point] for words, point in zip(said, missing, strict=True))
    )
    first = opening if usable else NO_BOILING_POINT if not serves else NO_PRESSURE
    return Boiling(
        temperature=temperature,
        within=within,
        components=components,
        medium=Medium.STEAM if kind is BoilingKind.STEAM else Medium.BOILING_WATER,
        usable=usable,
        why=(first, *lacking, *_remarks(surroundings, temperature)),
        again=_again(components, usable) if usable or not serves else AGAIN_LEVEL,
        pressure=pressure,
        missing=missing,
    )


def verify_boiling(
    readings: Sequence[TimedValue],
    preparation: BoilingPreparation,
    surroundings: Surroundings,
    instrument: Instrument,
    rule: DecisionRule = DecisionRule.NON_BINARY,
    *,
    immersion_mm: float | None = None,
) -> Verification:
    """Judge a check at the boiling point.

    Args:
        readings: 0 to 200, in s since the probe went in and °C.
        preparation: the pan and the probe, point by point.
        surroundings: the air's pressure, Pa, and the altitude, m.
        instrument: the probe, °C, s and mm.
        rule: how the uncertainty enters the verdict.
        immersion_mm: how deep the stem is in the steam or the water, in mm, 0 to 1000, if it was measured.

    Returns:
        As `verify_against`. A good check bounds what the probe does far from zero; it never stands for a zero check.

    Raises:
        ValueError: as `judge_boiling_reference` and `verify_against` do.

    Source: JCGM 100:2008 for the budget, ILAC-G8:09/2019 for the verdict, IAPWS R7-97(2012) for the reference.
    """
    reference = judge_boiling_reference(preparation, surroundings)
    rise = judge_rise(readings, instrument.resolution, instrument.time_constant)
    extra = () if rise.value is None else (_way_up(rise.residual),)
    found = verify_against(readings, reference, instrument, immersion_mm=immersion_mm, rule=rule, extra=extra)
    why, said = found.why, found.settling.sentence
    if found.verdict is Verdict.IN_TOLERANCE:
        why = (IN_TOLERANCE, *why[1:])
    elif found.verdict is Verdict.OUT_OF_TOLERANCE:
        why = (*why[:-1], LABEL)
    told = tuple(tuple(line.replace(said, rise.sentence) for line in lines) for lines in (why, found.figures))
    return replace(found, settling=replace(found.settling, sentence=rise.sentence), why=told[0], figures=told[1])


def judge_rise(readings: Sequence[TimedValue], resolution: float, time_constant: float | None = None) -> Settling:
    """What timed readings show of a probe on its way up to boiling: as `judge_settling`, in words that fit.

    Args:
        readings: 0 to 200, in s since the probe went in and °C.
        resolution: the step of the display in °C, 0.001 to 5.
        time_constant: of the probe in s, 0.1 to 60, if it is known.

    Returns:
        The state, and the bound of what may still be to come, °C, widened because the way is longer than down to ice.

    Raises:
        ValueError: as `judge_settling` does.

    Source: as `judge_settling`; a first-order step leaves behind in proportion to its height.
    """
    found = judge_settling(readings, resolution, time_constant)
    away = found.state in (SettlingState.DRIFTING, SettlingState.WARMING)
    sentence = WENT_AWAY if away else found.sentence
    return replace(found, residual=found.residual * LONGER_WAY, sentence=sentence)


def _way_up(residual: float) -> Component:
    """What is missing to that bound beside the one that settling itself brings into the budget: their squares add."""
    return rectangular("way up", residual * sqrt(1 - LONGER_WAY**-2), "the way up from room temperature, 80 °C")


def _of_the_pan(kind: BoilingKind, missing: tuple[BoilingPoint, ...], widths: BoilingWidths) -> tuple[Component, ...]:
    if kind is BoilingKind.STEAM:
        half_width = widths.incomplete if missing else widths.steam
        return (rectangular("steam", half_width, "air and drops in the steam"),)
    half_width = widths.incomplete if missing or kind is not BoilingKind.ROLLING else widths.rolling
    return (
        rectangular("superheat", half_width, "superheat, and the weight of the water above the tip"),
        rectangular("dissolved matter", elevation(HARDEST_WATER), "what drinking water holds dissolved, up to 1 g/kg"),
    )


def elevation(salt: float) -> float:
    """By how much table salt raises the temperature at which water boils.

    Args:
        salt: g per kg of water, 0 to 60.

    Returns:
        K, for an ideal solution (two ions for each unit of salt).

    Raises:
        ValueError: for an amount out of this range.

    Source: ΔT = Kb·i·b with Kb = 0.512 K·kg/mol.
    """
    if not 0 <= salt <= 60:
        raise ValueError("Give the salt in grams per kilogram of water, from 0 to 60.")
    return EBULLIOSCOPIC * 2 * salt / SALT_MOLAR_MASS


def _remarks(surroundings: Surroundings, temperature: float) -> tuple[str, ...]:
    if surroundings.pressure is not None and is_undecided(surroundings):
        return (LEVEL_UNKNOWN.format(in_hpa(surroundings.pressure)),)
    return () if CUSTOMARY_BAND[0] <= temperature <= CUSTOMARY_BAND[1] else (OUTSIDE_BAND,)


def _again(components: tuple[Component, ...], usable: bool) -> str:
    """What to make better: the pan if it does not serve, else what is most uncertain."""
    worst = max(components, key=lambda component: component.standard).name
    return (
        AGAIN_AIR if usable and worst in ("weather", "warmth of the air", "altitude", "weather report") else AGAIN_PAN
    )


def _up(value: float) -> str:
    """Two decimals, rounded up, so that no rounding makes a reference look surer than it is."""
    return f"{ceil(round(value * 100, 6)) / 100:.2f}"


IN_TOLERANCE = "In tolerance at the boiling point. Whether it may be used, its checks at zero say as well."
LABEL = (
    "Label it and put it aside. What it measured since its last good check away from zero is in quarantine, "
    "whatever its checks at zero said."
)
WENT_AWAY = (
    "It had settled and moved away again. Keep the water boiling hard and the tip deep in, clear of bottom and sides. "
    "Then start again."
)
NO_BOILING_POINT = "The pan does not stand for the boiling point."
UNUSABLE = {
    BoilingKind.QUIET: "Water that does not boil hard can be some tenths hotter than its boiling point, or colder.",
    BoilingKind.UNCONFIRMED: "Nobody confirmed how the water boiled.",
}
OUTSIDE_BAND = "The usual band of 99 to 101 °C does not hold here: it would condemn a probe that is right."
NO_PRESSURE = "It is not known under which pressure the water boiled."
LEVEL_UNKNOWN = (
    "{} may be the pressure of this place or one reduced to sea level, and it is not known which. Water does not boil at "
    "the same temperature under the two."
)
AGAIN_LEVEL = "Find out whether the pressure is of this place, or choose the altitude alone. Then check again."
AGAIN_AIR = "Read the air pressure from a barometer on the spot. Then check again."
AGAIN_PAN = "Boil fresh water hard, put a lid on with a gap, and hold the probe well into the steam. Then check again."
