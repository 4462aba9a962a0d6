"""How far the error of a sensor may differ from what was found where it was checked, by the physics of its kind.

Two things make it differ. A fault that shows at the check grows, shrinks or turns round with the temperature, within what the
faults of its sensor make of it (`sensor_faults`). And the standard of a sensor lets the error go its own way besides, which no
check elsewhere sees (`ALLOWANCES`).

Everything is in whole milli-degrees Celsius (mK for differences), and rounded up.
"""

from .vocabulary import Sensor

# K in mK: the distance that an allowance is stated at.
STATED_AT = 75_000

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

# Percent of the larger error at two checked temperatures 100 K apart by which the error may lie off the straight line
# between them, for one fault: the aged resistance of a thermistor (beta equation, 2.3) or of a Pt100 (IEC 60751
# polynomial, 0.2), or a leak past one (2.1); the cold junction of a thermocouple (IEC 60584-1 reference functions from 0 °C
# up: K 2.3, T 3.2). It goes by the square of the distance. Rounded up. Liquid in glass and bimetal: judgement.
CURVATURES: dict[Sensor, int] = {
    Sensor.THERMISTOR: 3,
    Sensor.UNKNOWN: 5,
    Sensor.PT100_A: 3,
    Sensor.PT100_B: 3,
    Sensor.THERMOCOUPLE_T_1: 5,
    Sensor.THERMOCOUPLE_T_2: 5,
    Sensor.THERMOCOUPLE_K_1: 3,
    Sensor.THERMOCOUPLE_K_2: 3,
    Sensor.LIQUID_IN_GLASS: 5,
    Sensor.BIMETAL: 5,
}

# Percent, likewise, of how much the errors at the two differ: the gain of a thermocouple's amplifier, whose error is the
# voltage over a sensitivity that changes (IEC 60584-1 from -40 °C up: K 3.7, T 4.2). It goes by the distance itself, since
# a difference found over a short distance means a steeper error. Liquid in glass and bimetal: judgement.
STEEPENINGS: dict[Sensor, int] = {
    Sensor.UNKNOWN: 5,
    Sensor.THERMOCOUPLE_T_1: 5,
    Sensor.THERMOCOUPLE_T_2: 5,
    Sensor.THERMOCOUPLE_K_1: 4,
    Sensor.THERMOCOUPLE_K_2: 4,
    Sensor.LIQUID_IN_GLASS: 5,
    Sensor.BIMETAL: 5,
}

# Sensors whose error may stay near that of the colder check and then run: a resistance in series with a thermistor is
# hardly seen while that has tens of kilohms, and weighs more and more as it gets hot (beta equation). Others: judgement.
LATE_BENDING = frozenset({Sensor.THERMISTOR, Sensor.UNKNOWN, Sensor.LIQUID_IN_GLASS, Sensor.BIMETAL})

# Sensors whose error may leave that of the colder check soon and then stay near that of the hotter: a resistance in parallel with
# a thermistor weighs most while that has tens of kilohms (beta equation).
EARLY_BENDING = frozenset({Sensor.THERMISTOR, Sensor.UNKNOWN})

# mK. Between temperatures further apart than this the bends above were not worked out.
FARTHEST_APART = 150_000

# mK. What CURVATURES and STEEPENINGS are stated for.
_CURVED_OVER = 100_000


def unseen_between(sensor: Sensor, apart: int) -> int:
    """How far the error may lie off the straight line between two checked temperatures, unseen by both.

    Args:
        sensor: the kind of sensor, with its accuracy class (no unit).
        apart: how far the two are from each other, mK.

    Returns:
        A half-width, mK, rounded up. It is reached from an eighth of the way to seven.

    Source: a sixth of the allowance per 100 K, by the square of the distance, so that a bend that begins at a check never
        rises faster than the allowance of that check alone: judgement.
    """
    return -(-ALLOWANCES[sensor] * apart * apart // (6 * _CURVED_OVER**2))


def bend(sensor: Sensor, largest_error: int, difference: int, apart: int) -> int:
    """How far one fault that shows at two checked temperatures may lie off the straight line between them.

    A late or an early rise (`LATE_BENDING`, `EARLY_BENDING`) comes on top.

    Args:
        sensor: the kind of sensor (no unit).
        largest_error: the larger error at the two, mK, of either sign, with its expanded uncertainty.
        difference: how much the errors at the two may differ, mK, of either sign.
        apart: how far the two are from each other, mK.

    Returns:
        A half-width, mK, rounded up.

    Raises:
        ValueError: if `apart` is not above 0 and up to 150 000 mK.

    Source: CURVATURES and STEEPENINGS, worked out from the beta equation, IEC 60751 and IEC 60584-1.
    """
    if not 0 < apart <= FARTHEST_APART:
        raise ValueError("Give two temperatures up to 150 K apart; further apart nothing is known of the bend.")
    curved = CURVATURES[sensor] * abs(largest_error) * apart * apart
    steeper = STEEPENINGS.get(sensor, 0) * abs(difference) * apart * _CURVED_OVER
    return -(-(curved + steeper) // (100 * _CURVED_OVER**2))
