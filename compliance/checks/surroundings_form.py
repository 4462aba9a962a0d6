"""Asking for the air's pressure where water is boiled: a barometer, a weather report, or the altitude alone."""

import re
from decimal import Decimal

from django import forms
from django.core.exceptions import ValidationError
from django.db import models

from compliance.metrology.air_pressure import PressureLevel, PressureSource, Surroundings
from shared.units import MINUS, Unit, number

from .surroundings import DIGITS, FOOT, PASCAL, PressureUnit, reference_here, to_pascal

ASKED = [
    (PressureSource.STATION.value, "A barometer here, as it stands (best)"),
    (PressureSource.SEA_LEVEL.value, "A weather report or forecast (sea level)"),
    (PressureSource.ALTITUDE.value, "Only the altitude (least sure)"),
]
LEVEL_ANSWERS = [
    (PressureLevel.HERE.value, "It is of this place"),
    (PressureLevel.SEA_LEVEL.value, "It is reduced to sea level"),
    (PressureLevel.UNKNOWN.value, "I do not know"),
]

NUMBER = re.compile(rf"[-{MINUS}]?[0-9]{{1,6}}([.,][0-9]{{1,4}})?")


class Height(models.TextChoices):
    METRES = "m", "m"
    FEET = "ft", "ft"


class AirNumber(forms.CharField):
    """A number of the air: comma or point, any minus sign; gives a Decimal or None."""

    def __init__(self, **kwargs):
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off", "size": 8})
        super().__init__(max_length=12, widget=widget, **kwargs)

    def clean(self, value):
        text = super().clean(value)
        if text in self.empty_values:
            return None
        if not NUMBER.fullmatch(text.replace(" ", "")):
            raise ValidationError(f"“{text}” is not a number. Type it as it is shown, such as 987 or 29.2")
        return Decimal(text.replace(" ", "").replace(",", ".").replace(MINUS, "-"))


class Air(forms.Form):
    """Where the pressure of the air is known from, and how high the kitchen lies."""

    source = forms.ChoiceField(label="Where is the air pressure from?", choices=ASKED, widget=forms.RadioSelect)
    pressure = AirNumber(label="Air pressure", required=False, help_text="1 mbar is 1 hPa. Not for the altitude alone.")
    pressure_unit = forms.ChoiceField(label="Pressure in", choices=PressureUnit.choices)
    altitude = AirNumber(label="Altitude above sea level")
    altitude_unit = forms.ChoiceField(label="Altitude in", choices=Height.choices)

    def clean(self):
        data = super().clean()
        if not {"source", "pressure", "pressure_unit", "altitude", "altitude_unit"} <= set(data):
            return data
        if data["source"] != PressureSource.ALTITUDE and data["pressure"] is None:
            self.add_error("pressure", "Type the air pressure, or choose “Only the altitude”.")
            return data
        try:
            reference_here(self.surroundings())
        except ValidationError as error:
            self.add_error("altitude" if "altitude of the kitchen in" in error.message else "pressure", error)
        return data

    def surroundings(self) -> Surroundings:
        data = self.cleaned_data
        source = PressureSource(data["source"])
        pressure = None if source is PressureSource.ALTITUDE else to_pascal(data["pressure"], data["pressure_unit"])
        metres = data["altitude"] * (FOOT if data["altitude_unit"] == Height.FEET else 1)
        return Surroundings(source=source, pressure=pressure, altitude=float(metres), level=self.level())

    def level(self) -> PressureLevel | None:
        """Asked on its own, once it is known that the pressure may be either."""
        return None

    def typed(self) -> tuple[str, str]:
        """The pressure as it was typed, and its unit; empty where the altitude stands for it."""
        data = self.cleaned_data
        if data["source"] == PressureSource.ALTITUDE or data["pressure"] is None:
            return "", ""
        return str(data["pressure"]), data["pressure_unit"]


def air_initial(kept: dict, site) -> dict:
    """What is known already: as it was typed, else the altitude of the site."""
    imperial = site.unit == Unit.FAHRENHEIT
    height = Height.FEET if imperial else Height.METRES
    metres = Decimal(str(kept.get("altitude_m", site.altitude_m)))
    unit = kept.get("unit") or (PressureUnit.INHG if imperial else PressureUnit.HPA)
    return {
        "source": kept.get("source"),
        "pressure": _pressure(kept, unit),
        "pressure_unit": unit,
        "pressure_level": kept.get("level"),
        "altitude": number(metres / FOOT if imperial else metres, 0),
        "altitude_unit": height,
    }


def _pressure(kept: dict, unit: str) -> str:
    if kept.get("typed"):
        return kept["typed"]
    pascal = kept.get("pressure_pa")
    unit = PressureUnit(unit)
    return "" if pascal is None else number(Decimal(str(pascal)) / PASCAL[unit], DIGITS[unit])
