"""Where a check at boiling is made: the air's pressure as people know it, and where water boils under it."""

from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import models

from compliance.metrology.air_pressure import PressureLevel, PressureSource, Surroundings, in_hpa, is_undecided
from compliance.metrology.boiling import (
    WANTED,
    BoilingKind,
    BoilingPreparation,
    judge_boiling_reference,
)
from compliance.probes.models import Probe, Sensor
from shared.units import Unit, difference_from_milli, number, show

HIGH_ENOUGH = 105_000  # milli-degrees: a range up to here leaves room above 100 °C; judgement
FOOT = Decimal("0.3048")  # m, exact; international foot


class PressureUnit(models.TextChoices):
    HPA = "hPa", "hPa"
    KPA = "kPa", "kPa"
    INHG = "inHg", "inHg"
    MMHG = "mmHg", "mmHg"


# Pa; conventional columns of mercury as in NIST SP 811, appendix B.8 (inch 3386.389, millimetre 133.3224).
PASCAL = {
    PressureUnit.HPA: Decimal(100),
    PressureUnit.KPA: Decimal(1000),
    PressureUnit.INHG: Decimal("3386.389"),
    PressureUnit.MMHG: Decimal("133.3224"),
}
DIGITS = {PressureUnit.HPA: 0, PressureUnit.KPA: 1, PressureUnit.INHG: 2, PressureUnit.MMHG: 0}
SOURCES = {
    PressureSource.STATION: "a barometer here",
    PressureSource.SEA_LEVEL: "a weather report, reduced from sea level",
    PressureSource.ALTITUDE: "the altitude alone",
}
LEVELS = {
    PressureLevel.HERE: "of this place, as somebody said",
    PressureLevel.SEA_LEVEL: "reduced to sea level, as somebody said",
}
LEVEL_UNKNOWN = "it is not known whether {} is of this place or reduced to sea level"


def to_pascal(value: Decimal, unit: str) -> float:
    return float(value * PASCAL[PressureUnit(unit)])


def keep(surroundings: Surroundings, typed: str = "", unit: str = "") -> dict:
    """As a record keeps them, with the pressure as it was typed."""
    kept = {
        "source": surroundings.source.value,
        "pressure_pa": surroundings.pressure,
        "altitude_m": surroundings.altitude,
    }
    kept |= {"typed": typed, "unit": unit} if typed and surroundings.pressure is not None else {}
    return kept | ({"level": surroundings.level.value} if surroundings.level else {})


def read_kept(kept: dict) -> Surroundings:
    """Raises ValidationError where nobody has said yet what the air's pressure is."""
    if "source" not in kept:
        raise ValidationError("Say first where the air pressure is known from.")
    level = PressureLevel(kept["level"]) if kept.get("level") else None
    source, pressure = PressureSource(kept["source"]), kept["pressure_pa"]
    return Surroundings(source=source, pressure=pressure, altitude=kept["altitude_m"], level=level)


def level_wanted(draft) -> bool:
    """Whether the pressure of a check in progress may be of this place or at sea level, and nobody was heard on it yet."""
    kept = draft.surroundings
    return "source" in kept and not kept.get("level") and is_undecided(read_kept(kept))


def level_missing(draft) -> str:
    """What keeps a check in progress from saying anything, where nobody can tell which pressure it is; empty otherwise."""
    kept = draft.surroundings
    if "source" not in kept or not is_undecided(read_kept(kept)):
        return ""
    unknown = LEVEL_UNKNOWN.format(typed_pressure(kept))
    return f"{unknown[0].upper()}{unknown[1:]}."


def typed_pressure(kept: dict) -> str:
    """As it was typed, with its unit."""
    return f"{kept['typed']} {kept['unit']}" if kept.get("typed") else in_hpa(kept["pressure_pa"])


def reference_here(surroundings: Surroundings, kind: BoilingKind = BoilingKind.ROLLING):
    """The reference that a pan gives here if nothing is left out. Raises ValidationError for a pressure that cannot be."""
    made = BoilingPreparation(kind=kind, points=frozenset(WANTED[kind]))
    try:
        return judge_boiling_reference(made, surroundings)
    except ValueError as error:
        raise ValidationError(str(error)) from None


def boils_at_milli(draft) -> int | None:
    """Where water boils at the place of a check in progress; None while the pressure is not known, and in ice."""
    if "source" not in draft.surroundings:
        return None
    return round(reference_here(read_kept(draft.surroundings)).temperature * 1000)


def boils_in_words(draft) -> str:
    """Such as: Water boils at 98.3 °C here, give or take 0.4 °C, by a barometer here. Empty while that is not known."""
    if "source" not in draft.surroundings or level_wanted(draft):
        return ""
    if unknown := level_missing(draft):
        return unknown
    given, unit = read_kept(draft.surroundings), draft.probe.site.unit
    reference = reference_here(given, BoilingKind(draft.preparation["kind"]))
    within = number(difference_from_milli(round(reference.within * 1000), unit), 1)
    at = show(round(reference.temperature * 1000), unit)
    by = _from(given) if given.level is None else f"{_from(given)}, {LEVELS[given.level]}"
    return f"Water boils at {at} here, give or take {within} {Unit(unit).label}, by {by}."


def told(kept: dict, unit: str) -> list[str]:
    """What a record says of the place: pressure with its source, and altitude."""
    given = read_kept(kept)
    altitude = f"altitude {altitude_in_words(given.altitude, unit)}"
    if given.pressure is None:
        return [f"pressure from {SOURCES[given.source]}", altitude]
    typed = f" (typed as {kept['typed']} {kept['unit']})" if kept.get("unit") not in (None, PressureUnit.HPA) else ""
    pressure = f"pressure {in_hpa(given.pressure)}{typed}, from {_from(given)}"
    if is_undecided(given):
        return [pressure, LEVEL_UNKNOWN.format("it"), altitude]
    return [pressure, *([LEVELS[given.level]] if given.level in LEVELS else []), altitude]


def _from(given: Surroundings) -> str:
    if given.source is PressureSource.SEA_LEVEL and not given.reduced:
        return "a weather report"
    return SOURCES[given.source]


def altitude_in_words(metres: float, unit: str) -> str:
    feet = f" ({number(Decimal(str(metres)) / FOOT, 0)} ft)" if unit == Unit.FAHRENHEIT else ""
    return f"{metres:.0f} m{feet}"


def boils_here(check, unit: str) -> str:
    """The reference of a recorded check in a few words, such as: boiling point here 98.3 °C."""
    return f"boiling point here {show(check.reference_milli, unit)}"


def unfit_for_boiling(probe: Probe) -> str:
    """Why this probe must not be checked at boiling; empty where it may."""
    if probe.sensor == Sensor.LIQUID_IN_GLASS:
        return (
            f"{probe} is a glass thermometer: heat that comes at once can break it, and glass near food is a danger. "
            "Do not put it into boiling water. Have it checked by a laboratory instead."
        )
    if probe.highest_milli < HIGH_ENOUGH:
        unit, digits = probe.site.unit, 1 if probe.highest_milli % 1000 else 0
        return (
            f"{probe} is made for up to {show(probe.highest_milli, unit, digits)} only, and a check at boiling needs a range "
            f"up to {show(HIGH_ENOUGH, unit, 0)}: boiling water could damage it. Check it at zero, or have a laboratory check it."
        )
    return ""
