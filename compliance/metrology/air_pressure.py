"""The air's pressure in a kitchen, from what somebody says of it: a barometer, a weather report, or the altitude alone."""

from dataclasses import dataclass
from enum import StrEnum
from math import isfinite

from .steam import STANDARD_ATMOSPHERE, STANDARD_WARMTH, saturation_temperature, standard_pressure, station_pressure
from .uncertainty import Component, normal, rectangular

LOWEST_KITCHEN, HIGHEST_KITCHEN = -450.0, 6000.0  # m; the Dead Sea's shore to above the highest towns, judgement
LEAST_AT_SEA, MOST_AT_SEA = 87_000.0, 108_500.0  # Pa; the records that the WMO keeps (870 and 1084.8 hPa), from memory
CREDIBLE_AT_SEA = 95_000.0, 105_000.0  # Pa; beyond it a confusion is likelier than the weather, judgement
LEAST_REDUCED, MOST_REDUCED = 80_000.0, 110_000.0  # Pa; what `station_pressure` takes
MATTERS_ABOVE = 100.0  # m from sea level, 0.33 °C; below that a confusion of the two pressures is small, judgement
ASKED_ABOVE = (
    25.0  # m from sea level; the two pressures differ by less than a barometer may be wrong below that, judgement
)

WEATHER = 1400.0  # Pa, standard deviation about 1013 hPa at sea level: 970 to 1050 hPa nearly always; judgement
COLUMN_WARMTH = -20.0, 35.0  # °C, the air between here and sea level, brought down to sea level; judgement
ALTITUDE_WITHIN = 20.0  # m, half-width of an altitude from a map; judgement
BAROMETER_WITHIN = 300.0  # Pa, half-width of a kitchen barometer or a telephone's; judgement
REPORT_WITHIN = 400.0  # Pa, half-width of a report: rounding, up to 6 hours at 0.5 hPa an hour, 50 km; judgement
REPORT = "weather report", REPORT_WITHIN, "a weather report, within ±4 hPa"
BAROMETER = "barometer", BAROMETER_WITHIN, "a barometer on the spot, within ±3 hPa"


class PressureSource(StrEnum):
    """Where the pressure of the air is known from."""

    STATION = "station"
    SEA_LEVEL = "sea_level"
    ALTITUDE = "altitude"


class PressureLevel(StrEnum):
    """Of where a pressure is: as it stands in this place, or reduced to sea level."""

    HERE = "here"
    SEA_LEVEL = "sea_level"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """Where the pressure is known from, the pressure in Pa (None where the altitude stands for it), the altitude in m.

    `level`: of where the pressure is, as somebody answered who was asked; None where nobody was, or nobody answered.
    """

    source: PressureSource
    pressure: float | None
    altitude: float
    level: PressureLevel | None = None

    @property
    def reduced(self) -> bool:
        """Whether the pressure is taken as one at sea level: as it was answered, else as reports are and barometers are not."""
        if self.level in (PressureLevel.HERE, PressureLevel.SEA_LEVEL):
            return self.level is PressureLevel.SEA_LEVEL
        return self.source is PressureSource.SEA_LEVEL


def air_pressure(surroundings: Surroundings) -> float:
    """The pressure of the air on the spot, Pa.

    Args:
        surroundings: where it is known from, the pressure in Pa, and the altitude in m, -450 to 6000.

    Raises:
        ValueError: for an altitude out of range, a pressure that is missing or cannot be, and one that can only be of the
            other kind: at sea level where it is said to be of this place, or the reverse.

    Source: ICAO Doc 7488 where it was not measured on the spot.
    """
    altitude, pressure = surroundings.altitude, surroundings.pressure
    if not (isfinite(altitude) and LOWEST_KITCHEN <= altitude <= HIGHEST_KITCHEN):
        raise ValueError("Give the altitude of the kitchen in metres above sea level, from -450 to 6000.")
    if surroundings.source is PressureSource.ALTITUDE:
        if pressure is not None:
            raise ValueError("Say whether this pressure is a barometer's or a weather report's, or leave it out.")
        return standard_pressure(altitude)
    if pressure is None:
        raise ValueError("Give the air pressure, or let the altitude stand for it.")
    if surroundings.reduced:
        _refuse_at_sea_level(pressure, altitude)
        return station_pressure(pressure, altitude)
    _refuse_on_the_spot(pressure, altitude)
    return pressure


def asks_level(surroundings: Surroundings) -> bool:
    """Whether this pressure may be that of this place as well as one reduced to sea level, and it matters which.

    Args:
        surroundings: the air's pressure, Pa, and the altitude, m, -450 to 6000.

    Shops set barometers to sea level, and some reports give the pressure as it stands: where it is from does not tell.
    Source: the spans in which either may lie are the hydrostatic equation over ranges of judgement.
    """
    pressure, altitude = surroundings.pressure, surroundings.altitude
    if pressure is None or surroundings.source is PressureSource.ALTITUDE or abs(altitude) < ASKED_ABOVE:
        return False
    return _within(pressure, _span_here(altitude)) and _within(pressure, _span_at_sea(altitude))


def is_undecided(surroundings: Surroundings) -> bool:
    """Whether the pressure may be of this place or at sea level, and nobody said which; Pa and m.

    Source: as `asks_level`.
    """
    answered = surroundings.level in (PressureLevel.HERE, PressureLevel.SEA_LEVEL)
    return not answered and asks_level(surroundings)


def _refuse_on_the_spot(pressure: float, altitude: float) -> None:
    if not _within(pressure, _span_here(altitude)):
        hint = f"At {altitude:.0f} m a barometer shows about {in_hpa(standard_pressure(altitude))}."
        if _within(pressure, _span_at_sea(altitude)):
            raise ValueError(
                f"{in_hpa(pressure)} is a pressure at sea level, as weather reports give it. {hint} {ENTER_SPOT}"
            )
        raise ValueError(f"The air pressure cannot be {in_hpa(pressure)}. {hint} {ENTER_SPOT}")


def _refuse_at_sea_level(pressure: float, altitude: float) -> None:
    if not _within(pressure, _span_at_sea(altitude)):
        hint = f"At sea level it is about {in_hpa(STANDARD_ATMOSPHERE)}, whatever the altitude of the kitchen."
        if _within(pressure, _span_here(altitude)):
            raise ValueError(
                f"{in_hpa(pressure)} is what a barometer shows on the spot, not at sea level. {hint} {ENTER_SEA}"
            )
        raise ValueError(f"A weather report cannot say {in_hpa(pressure)}. {hint} {ENTER_SEA}")


def _within(pressure: float, span: tuple[float, float]) -> bool:
    return span[0] <= pressure <= span[1]


def _span_here(altitude: float) -> tuple[float, float]:
    """What a barometer may show on the spot, Pa: any weather over the coldest and the warmest air."""
    ends = [station_pressure(at_sea, altitude, warmth) for at_sea in _weathers(altitude) for warmth in COLUMN_WARMTH]
    return min(ends), max(ends)


def _span_at_sea(altitude: float) -> tuple[float, float]:
    """What a report may say, Pa; reduced by the standard atmosphere, it keeps what the air's warmth does on the spot."""
    (least, most), raised = _weathers(altitude), STANDARD_ATMOSPHERE / standard_pressure(altitude)
    low, high = (raised * end for end in _span_here(altitude))
    return max(LEAST_REDUCED, min(least, low)), min(MOST_REDUCED, max(most, high))


def _weathers(altitude: float) -> tuple[float, float]:
    return CREDIBLE_AT_SEA if abs(altitude) >= MATTERS_ABOVE else (LEAST_AT_SEA, MOST_AT_SEA)


def lines_of_the_air(surroundings: Surroundings, pressure: float) -> tuple[Component, ...]:
    """What makes the pressure uncertain, in °C at the boiling point.

    Args:
        surroundings: as they were told, Pa and m.
        pressure: of the air on the spot that follows from them, Pa.

    Source: ICAO Doc 7488 for the conversions, IAPWS R7-97(2012) eq. (31) for the slope; the widths are judgement.
    """
    slope, reported = _slope(pressure), surroundings.source is PressureSource.SEA_LEVEL
    at_sea = surroundings.pressure if surroundings.reduced and surroundings.pressure else STANDARD_ATMOSPHERE
    usual, above = (standard_pressure(surroundings.altitude + more) for more in (0, ALTITUDE_WITHIN))
    altitude = rectangular(
        "altitude", slope * pressure * (1 - above / usual), "the altitude of the kitchen, within ±20 m"
    )
    if surroundings.source is PressureSource.ALTITUDE:
        weather = normal("weather", slope * pressure / at_sea * WEATHER, "the weather, 14 hPa about the usual pressure")
        return weather, altitude, _of_the_column(at_sea, surroundings.altitude)
    name, width, why = REPORT if reported else BAROMETER
    if not surroundings.reduced:
        measured = rectangular(name, slope * width, why)
        return (measured, altitude) if reported else (measured,)
    measured = rectangular(name, slope * pressure / at_sea * width, why)
    return measured, altitude, _of_the_column(at_sea, surroundings.altitude)


def _of_the_column(at_sea: float, altitude: float) -> Component:
    """How far the boiling point may be off, in °C, because cold air is heavier than the standard one and warm air lighter.

    The standard atmosphere has 15 °C at sea level. A report is reduced to sea level by the temperature of the day as a rule,
    so its conversion goes wrong as much as that of the altitude alone. The end farther from 15 °C counts, on either side.
    """
    usual, *ends = (
        saturation_temperature(station_pressure(at_sea, altitude, warmth))
        for warmth in (STANDARD_WARMTH, *COLUMN_WARMTH)
    )
    off = max(abs(end - usual) for end in ends)
    return rectangular("warmth of the air", off, "the air down to sea level, -20 to 35 °C")


def _slope(pressure: float) -> float:
    """K per Pa, by a central difference; 0.0277 K per hPa at sea level."""
    return (saturation_temperature(pressure + 50) - saturation_temperature(pressure - 50)) / 100


def in_hpa(pressure: float) -> str:
    """A pressure in Pa as hPa, in words. Source: 1 hPa is 100 Pa, by definition."""
    return f"{pressure / 100:.0f} hPa"


ENTER_SPOT = "Enter what a barometer in the kitchen shows, or say that the pressure is from a weather report."
ENTER_SEA = "Enter the pressure of the weather report, or say that it is from a barometer on the spot."
