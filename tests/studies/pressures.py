"""Where water boils, by each way of knowing the air's pressure: how often does the reference hold the true temperature?

A world of its own: the air is integrated layer by layer, with inversions and moisture, and steam is the library iapws.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from functools import cache

import numpy as np
from iapws import iapws97

from compliance.metrology.air_pressure import PressureLevel, PressureSource, Surroundings
from compliance.metrology.boiling import (
    BoilingKind,
    BoilingPoint,
    BoilingPreparation,
    judge_boiling_reference,
)

from .report import publish, table

ALTITUDES = (0, 500, 1500, 3000)
FULL, SEED = 20_000, 20_261_127
LAYER = 100.0  # m
GRAVITY, DRY_AIR, KELVIN = 9.80665, 287.05, 273.15
STEAM = BoilingPreparation(kind=BoilingKind.STEAM, points=frozenset(BoilingPoint))
PRESSURES = np.linspace(50_000, 115_000, 2601)
BOILS = np.array([iapws97._TSat_P(pressure / 1e6) - KELVIN for pressure in PRESSURES])
ENOUGH = 0.95


class Climate(StrEnum):
    """Of how cold and warm the air at sea level is, °C, and which weather goes over it, hPa."""

    ASSUMED = "-20 to 35 °C, 970 to 1050 hPa"
    STORMY = "cold and stormy: -35 to 0 °C, 1000 ± 15 hPa"
    PLATEAU = "hot plateau: 25 to 48 °C, 1008 ± 6 hPa"
    FLAT = "any weather of 970 to 1050 hPa alike"


class Known(StrEnum):
    """From where the pressure is known."""

    BAROMETER = "barometer here"
    STANDARD = "weather report, reduced by the standard atmosphere"
    OF_THE_DAY = "weather report, reduced by the warmth of the day"
    ALTITUDE = "altitude alone"


@dataclass(frozen=True)
class Places:
    """Kitchens: their true altitude in m, and of the air the pressure at sea level and here (Pa) and the warmth here (°C)."""

    altitude: np.ndarray
    at_sea: np.ndarray
    here: np.ndarray
    warmth: np.ndarray
    vapour: np.ndarray


@dataclass(frozen=True)
class Held:
    """Of references at one nominal altitude: how many held the truth, their median half-width in °C, how many were refused."""

    climate: Climate
    known: Known
    altitude: int
    coverage: float
    width: float
    refused: float


def _weather(climate: Climate, size: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    if climate is Climate.STORMY:
        return rng.uniform(-35, 0, size), rng.normal(1000, 15, size)
    if climate is Climate.PLATEAU:
        return rng.uniform(25, 48, size), rng.normal(1008, 6, size)
    spread = rng.uniform(970, 1050, size) if climate is Climate.FLAT else rng.normal(1010, 40 / 3, size).clip(970, 1050)
    return rng.uniform(-20, 35, size), spread


def places(climate: Climate, nominal: float, size: int, rng: np.random.Generator) -> Places:
    """Air over sea level that gets colder by 5.5 ± 2 K a km, anew each 500 m; under cold air every other ground is colder still.

    Source: the hydrostatic equation dp/dh = -p·g/(R·Tv); Tv = T·(1 + 0.378·e/p) of moist air; e by Magnus over water.
    """
    warmth, at_sea = _weather(climate, size, rng)
    altitude, pressure = nominal + rng.uniform(-20, 20, size), at_sea * 100
    steps = max(1, round(nominal / LAYER))
    moist, inverted = rng.uniform(0.2, 1.0, size), (warmth < 5) & (rng.random(size) < 0.5)
    lapse = np.zeros(size)
    for step in range(steps):
        if step % 5 == 0:
            lapse = np.clip(rng.normal(5.5, 2.0, size), -4, 9.8) / 1000
        cooling = np.where(inverted & (step < 5), -rng.uniform(0, 0.01, size), lapse)
        rise = altitude / steps
        middle = warmth - cooling * rise / 2
        virtual = (middle + KELVIN) * (1 + 0.378 * moist * _vapour(middle) / pressure)
        pressure = pressure * np.exp(-GRAVITY * rise / (DRY_AIR * virtual))
        warmth = warmth - cooling * rise
    return Places(altitude, at_sea * 100, pressure, warmth, moist * _vapour(warmth))


def _vapour(celsius: np.ndarray) -> np.ndarray:
    """Pa, saturated. Source: Magnus formula as WMO-No. 8 gives it, from memory."""
    return 611.2 * np.exp(17.62 * celsius / (243.12 + celsius))


def _barometer(found: Places, rng: np.random.Generator) -> np.ndarray:
    """hPa, within 3 hPa with its rounding."""
    return np.round(found.here / 100 + rng.uniform(-2.5, 2.5, len(found.here)))


def _standard(found: Places, rng: np.random.Generator) -> np.ndarray:
    """Source: ICAO Doc 7488."""
    share = (1 - 0.0065 * found.altitude / 288.15) ** 5.25588
    return _reported(found.here / share, rng)


def _of_the_day(found: Places, rng: np.random.Generator) -> np.ndarray:
    """Source: WMO-No. 8, reduction with the station's own temperature (here within 3 K) and vapour pressure; from memory."""
    column = found.warmth + rng.normal(0, 3, len(found.here)) + KELVIN
    column = column + 0.00325 * found.altitude + 0.0012 * found.vapour
    return _reported(found.here * np.exp(GRAVITY * found.altitude / (DRY_AIR * column)), rng)


def _reported(pascal: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """hPa as read in a report: up to 6 hours old, up to 50 km away, in whole hPa. Half a hPa an hour is judgement."""
    size = len(pascal)
    aged = rng.uniform(0, 6, size) * rng.normal(0, 0.5, size)
    away = rng.uniform(0, 0.5, size) * rng.normal(0, 1.0, size)
    return np.round(pascal / 100 + aged + away)


SHOWN: dict[Known, Callable] = {
    Known.BAROMETER: _barometer,
    Known.STANDARD: _standard,
    Known.OF_THE_DAY: _of_the_day,
    Known.ALTITUDE: lambda found, rng: np.zeros(len(found.here)),
}
SOURCES = {Known.BAROMETER: PressureSource.STATION, Known.ALTITUDE: PressureSource.ALTITUDE}


@cache
def _reference(source: PressureSource, shown: float, altitude: int) -> tuple[float, float]:
    """Temperature and half-width of the reference; not a number where the pressure is refused."""
    pressure = None if source is PressureSource.ALTITUDE else shown * 100
    level = PressureLevel.HERE if source is PressureSource.STATION else PressureLevel.SEA_LEVEL
    told = Surroundings(source=source, pressure=pressure, altitude=altitude, level=level)
    try:
        found = judge_boiling_reference(STEAM, told)
    except ValueError:
        return np.nan, np.nan
    return found.temperature, found.within


def study(climate: Climate, known: Known, altitude: int, size: int, seed: int) -> Held:
    rng = np.random.default_rng([seed, list(Climate).index(climate), list(Known).index(known), altitude])
    found = places(climate, altitude, size, rng)
    truth = np.interp(found.here, PRESSURES, BOILS) + rng.uniform(-0.1, 0.1, size)
    source = SOURCES.get(known, PressureSource.SEA_LEVEL)
    shown = SHOWN[known](found, rng)
    told, within = np.array([_reference(source, float(each), altitude) for each in shown]).T
    taken = ~np.isnan(told)
    held = (np.abs(told - truth) <= within)[taken]
    return Held(climate, known, altitude, float(held.mean()), float(np.median(within[taken])), float(1 - taken.mean()))


def every(size: int, seed: int) -> Iterator[Held]:
    for climate in Climate:
        for known in Known:
            yield from (study(climate, known, altitude, size, seed) for altitude in ALTITUDES)


def main() -> None:
    publish("pressures", _told(list(every(FULL, SEED))))


def _told(found: list[Held]) -> str:
    heads = ("air at sea level", "pressure from", *(f"{altitude} m" for altitude in ALTITUDES))
    rows = []
    for at in range(0, len(found), len(ALTITUDES)):
        row = found[at : at + len(ALTITUDES)]
        rows.append((row[0].climate.value, row[0].known.value, *map(_cell, row)))
    missed = [each for each in found if each.climate is Climate.ASSUMED and each.coverage < ENOUGH]
    reached = "not reached: " + "; ".join(f"{m.known}, {m.altitude} m" for m in missed) if missed else "reached"
    return f"{_PRESSURES}\n\n{table(heads, rows)}\n\nAsked of the first four rows: 95 %, {reached}.\n{_HARSHER}"


def _cell(held: Held) -> str:
    refused = f", {100 * held.refused:.1f} % refused" if held.refused >= 0.0005 else ""
    return f"{100 * held.coverage:.1f} % (±{held.width:.2f} °C{refused})"


_PRESSURES = f"""{FULL} kitchens in each cell: how often steam had the temperature of its reference within the half-width that is
told, and that half-width (median). The air is integrated in layers of 100 m with the hydrostatic equation: moist, colder by
5.5 ± 2 K a km (anew each 500 m), half the cold columns with an inversion below. Altitudes are typed within ±20 m, steam is within
±0.1 °C. A barometer is within ±3 hPa; a report up to 6 hours old (0.5 hPa an hour) and from up to 50 km away, in whole hPa,
reduced to sea level by the standard atmosphere as for aviation, or by the warmth of the day as weather services do. Ranges
and spreads are judgement. Of pressures that are refused as impossible coverage does not speak."""
_HARSHER = """The other rows show where the air is worse than the budget assumes. Altitude alone knows nothing of the
weather, so it holds less where storms are usual; what is told does not make up for that: read a barometer."""
