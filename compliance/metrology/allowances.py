"""How far the error of a sensor may differ from what was found where it was checked, by the physics of its kind.

Everything is in whole milli-degrees Celsius (mK for differences), and rounded up.
"""

from math import ceil

from .vocabulary import Sensor

# mK at 75 °C that a check at zero does not see. Platinum: IEC 60751, the part of the tolerance in proportion to |t|
# (class A 0.002, B 0.005). Thermocouples: IEC 60584-1, likewise (class 1 0.004, class 2 0.0075, rounded up).
# Thermistor and all others: judgement.
ALLOWANCES: dict[Sensor, int] = {
    Sensor.PT100_A: 150,
    Sensor.PT100_B: 375,
    Sensor.THERMOCOUPLE_K_1: 300,
    Sensor.THERMOCOUPLE_T_1: 300,
    Sensor.THERMOCOUPLE_K_2: 563,
    Sensor.THERMOCOUPLE_T_2: 563,
    Sensor.THERMISTOR: 200,
    Sensor.LIQUID_IN_GLASS: 500,
    Sensor.BIMETAL: 500,
    Sensor.UNKNOWN: 500,
}

# Percent by which an error at zero may have grown, or shrunk, at 75 °C by the fault that is worst for its sensor:
# the aged resistance of a thermistor (beta equation, 1.62 times) or of a Pt100 (IEC 60751 polynomial, 1.32), the cold
# junction of a thermocouple (IEC 60584-1 sensitivities: K 0.95, T 0.86). An unknown sensor may be the worst of them.
GROWTHS: dict[Sensor, int] = {
    Sensor.THERMISTOR: 62,
    Sensor.UNKNOWN: 62,
    Sensor.PT100_A: 32,
    Sensor.PT100_B: 32,
    Sensor.THERMOCOUPLE_T_1: 14,
    Sensor.THERMOCOUPLE_T_2: 14,
    Sensor.THERMOCOUPLE_K_1: 5,
    Sensor.THERMOCOUPLE_K_2: 5,
    Sensor.LIQUID_IN_GLASS: 0,
    Sensor.BIMETAL: 0,
}

# Percent of the larger error at two checked temperatures 100 K apart by which the error may lie off the straight line
# between them, for one fault: the aged resistance of a thermistor (beta equation, 2.3) or of a Pt100 (IEC 60751
# polynomial, 0.2); the cold junction or the gain of a thermocouple (IEC 60584-1 reference functions: K 2.3, T 4.2).
# Rounded up. Liquid in glass and bimetal: judgement.
CURVATURES: dict[Sensor, int] = {
    Sensor.THERMISTOR: 3,
    Sensor.UNKNOWN: 5,
    Sensor.PT100_A: 1,
    Sensor.PT100_B: 1,
    Sensor.THERMOCOUPLE_T_1: 5,
    Sensor.THERMOCOUPLE_T_2: 5,
    Sensor.THERMOCOUPLE_K_1: 3,
    Sensor.THERMOCOUPLE_K_2: 3,
    Sensor.LIQUID_IN_GLASS: 5,
    Sensor.BIMETAL: 5,
}

# Sensors whose error may stay near that of the colder check and then run: a resistance in series with a thermistor is
# hardly seen while that has tens of kilohms, and weighs more and more as it gets hot (beta equation). Others: judgement.
LATE_BENDING = frozenset({Sensor.THERMISTOR, Sensor.UNKNOWN, Sensor.LIQUID_IN_GLASS, Sensor.BIMETAL})

# mK. Between temperatures further apart than this the bends above were not worked out.
FARTHEST_APART = 150_000

# mK. What CURVATURES are stated for.
_CURVED_OVER = 100_000

_ICE_POINT_K = 273.15


def allowance_at_75(sensor: Sensor, largest_error: int, temperature: int = 0) -> int:
    """How far the error may differ 75 K away from the only temperature that was checked.

    Args:
        sensor: the kind of sensor, with its accuracy class (no unit).
        largest_error: the error that the check found, mK, of either sign; with its expanded uncertainty added it is on
            the safe side.
        temperature: what it was checked at, milli-°C.

    Returns:
        A half-width, mK, rounded up.

    Raises:
        ValueError: if the temperature is at or below absolute zero.

    Source: IEC 60751 and IEC 60584-1 (tolerances in proportion to temperature); the thermistor's beta equation, by which
        an error grows with the square of the absolute temperature: a check below zero leaves more to grow. Above zero all
        grow less, and the growth from zero is on the safe side. Thermistors' 0.2 °C and the 0.5 °C of others: judgement.
    """
    kelvin = temperature / 1000 + _ICE_POINT_K
    if kelvin <= 0:
        raise ValueError("A check cannot be made at absolute zero: give its temperature in milli-°C.")
    colder = max(1.0, (_ICE_POINT_K / kelvin) ** 2)
    return ALLOWANCES[sensor] + ceil(GROWTHS[sensor] * abs(largest_error) * colder / 100 - 1e-9)


def bend(sensor: Sensor, largest_error: int, drop: int, apart: int) -> tuple[int, int, int]:
    """How far above the straight line between two checked temperatures the error may lie.

    The bounds rise from the line at the one to the first figure at 1/8 of the way, and on to the second half way; they
    stay there to the third at 7/8, and fall to the line at the other.

    Args:
        sensor: the kind of sensor (no unit).
        largest_error: the larger error at the two, mK, of either sign, with its expanded uncertainty.
        drop: how much the error may fall from the colder to the hotter, mK; at most 0 where it does not.
        apart: how far the two are from each other, mK.

    Returns:
        Heights above the line at 1/8, 1/2 and 7/8 of the way, mK, rounded up.

    Raises:
        ValueError: if `apart` is not above 0 and up to 150 000 mK.

    Source: CURVATURES and LATE_BENDING, worked out from the beta equation, IEC 60751 and IEC 60584-1. What no check sees
        is taken as a sixth of the allowance per 100 K, so that a bend that begins at a check never rises faster than the
        allowance of that check alone: judgement.
    """
    if not 0 < apart <= FARTHEST_APART:
        raise ValueError("Give two temperatures up to 150 K apart; further apart nothing is known of the bend.")
    unseen = ALLOWANCES[sensor] * 100 + CURVATURES[sensor] * abs(largest_error) * 6
    over = _CURVED_OVER**2 * 600
    curved = -(-unseen * apart * apart // over)
    late = max(drop, 0) if sensor in LATE_BENDING else 0
    return curved - (-late // 8), curved - (-late // 2), curved - (-late // 2)
