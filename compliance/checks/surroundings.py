"""Where a check at boiling is made: the air's pressure as people know it, and where water boils under it."""

from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import models

from compliance.metrology.boiling import (
    WANTED,
    BoilingKind,
    BoilingPreparation,
    PressureSource,
    Surroundings,
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


def to_pascal(value: Decimal, unit: str) -> float:
    return float(value * PASCAL[PressureUnit(unit)])


def keep(surroundings: Surroundings, typed: str = "", unit: str = "") -> dict:
    """As a record keeps them, with the pressure as it was typed."""
    kept = {
        "source": surroundings.source.value,
        "pressure_pa": surroundings.pressure,
        "altitude_m": surroundings.altitude,
    }
    return kept | ({"typed": typed, "unit": unit} if typed and surroundings.pressure is not None else {})


def read_kept(kept: dict) -> Surroundings:
    """Raises ValidationError where nobody has said yet what the air's pressure is."""
    if "source" not in kept:
        raise ValidationError("Say first where the air pressure is known from.")
    return Surroundings(
        source=PressureSource(kept["source"]), pressure=kept["pressure_pa"], altitude=kept["altitude_m"]
    )


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
    """Such as: Water boils at 98.3 °C here, give or take 0.4 °C, by a barometer here."""
    if "source" not in draft.surroundings:
        return ""
    given, unit = read_kept(draft.surroundings), draft.probe.site.unit
    reference = reference_here(given, BoilingKind(draft.preparation["kind"]))
    within = number(difference_from_milli(round(reference.within * 1000), unit), 1)
    at = show(round(reference.temperature * 1000), unit)
    return f"Water boils at {at} here, give or take {within} {Unit(unit).label}, by {SOURCES[given.source]}."


def told(kept: dict, unit: str) -> list[str]:
    """What a record says of the place: pressure with its source, and altitude."""
    given = read_kept(kept)
    altitude = f"altitude {altitude_in_words(given.altitude, unit)}"
    if given.pressure is None:
        return [f"pressure from {SOURCES[given.source]}", altitude]
    typed = f" (typed as {kept['typed']} {kept['unit']})" if kept.get("unit") not in (None, PressureUnit.HPA) else ""
    return [f"pressure {given.pressure / 100:.0f} hPa{typed}, from {SOURCES[given.source]}", altitude]


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
