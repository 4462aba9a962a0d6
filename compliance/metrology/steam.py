"""The temperature at which water boils under a pressure, and the pressure of the air at an altitude; Pa, °C, m."""

from math import isfinite, sqrt

CELSIUS = 273.15  # K at 0 °C, by definition of the scale
STANDARD_ATMOSPHERE = 101_325.0  # Pa; ICAO Doc 7488 and ISO 2533, sea level
STANDARD_WARMTH = 15.0  # °C at sea level; ICAO Doc 7488 and ISO 2533
LAPSE = 0.0065  # K/m up to 11 km; ICAO Doc 7488 and ISO 2533
GRAVITY = 9.80665  # m/s²; ICAO Doc 7488 and ISO 2533
DRY_AIR = 287.05287  # J/(kg·K); ICAO Doc 7488 and ISO 2533

TRIPLE_SIDE = 611.213  # Pa, saturation pressure at 0 °C; IAPWS R7-97(2012) section 8
CRITICAL = 22.064e6  # Pa; IAPWS R7-97(2012) section 8
HOTTEST = 373.946  # °C, the critical point, 647.096 K; IAPWS R7-97(2012) section 8

LOWEST = -500.0  # m; below any kitchen, judgement
HIGHEST = 11_000.0  # m; the lapse rate ends there, ICAO Doc 7488

# IAPWS R7-97(2012) table 34; pressures in MPa, temperatures in K.
N1, N2, N3, N4, N5 = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
)
N6, N7, N8, N9, N10 = 0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3
MEGA = 1e6


def saturation_temperature(pressure: float) -> float:
    """Where pure water boils.

    Args:
        pressure: of the steam, Pa, 611.213 to 22 064 000.

    Returns:
        °C.

    Raises:
        ValueError: for a pressure out of this range.

    Source: IAPWS R7-97(2012), region 4, eq. (31).
    """
    if not TRIPLE_SIDE <= pressure <= CRITICAL:
        raise ValueError("Give the pressure in Pa, from 611.213 to 22 064 000; 1 hPa is 100 Pa.")
    beta = (pressure / MEGA) ** 0.25
    e = beta**2 + N3 * beta + N6
    f = N1 * beta**2 + N4 * beta + N7
    g = N2 * beta**2 + N5 * beta + N8
    d = 2 * g / (-f - sqrt(f**2 - 4 * e * g))
    return float(N10 + d - sqrt((N10 + d) ** 2 - 4 * (N9 + N10 * d))) / 2 - CELSIUS


def standard_pressure(altitude: float) -> float:
    """The pressure of the standard atmosphere.

    Args:
        altitude: above sea level in m, -500 to 11 000. Geopotential; up to 4000 m a surveyed one differs by under 3 m.

    Returns:
        Pa.

    Raises:
        ValueError: for an altitude out of this range.

    Source: ICAO Doc 7488, ISO 2533: p = p0·(1 - L·h/T0)^(g/(L·R)).
    """
    return station_pressure(STANDARD_ATMOSPHERE, altitude)


def station_pressure(sea_level: float, altitude: float, temperature: float = STANDARD_WARMTH) -> float:
    """What a barometer shows on the spot where a weather report gives the pressure reduced to sea level.

    Args:
        sea_level: the reported pressure, Pa, 80 000 to 110 000.
        altitude: of the spot above sea level in m, -500 to 11 000.
        temperature: of the air, brought down to sea level with 6.5 K a km, °C, -60 to 60.

    Returns:
        Pa.

    Raises:
        ValueError: for values out of these ranges.

    Source: the hydrostatic equation with a constant lapse rate, as ICAO Doc 7488 derives it.
    """
    if not 80_000 <= sea_level <= 110_000:
        raise ValueError("Give the pressure at sea level in Pa, from 80 000 to 110 000; 1 hPa is 100 Pa.")
    if not (isfinite(altitude) and LOWEST <= altitude <= HIGHEST):
        raise ValueError("Give the altitude above sea level in m, from -500 to 11 000.")
    if not -60 <= temperature <= 60:
        raise ValueError("Give the temperature of the air at sea level in °C, from -60 to 60.")
    share = 1 - LAPSE * altitude / (temperature + CELSIUS)
    return float(sea_level * share ** (GRAVITY / (LAPSE * DRY_AIR)))
