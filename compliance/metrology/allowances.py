"""How far the error of a sensor may differ from what was found where it was checked, by the physics of its kind.

Two things make it differ. A fault that shows at the check grows or shrinks with the temperature, between the least and the
greatest of the causes that its sensor may have (`growth`). And the standard of a sensor lets the error go its own way
besides, which no check elsewhere sees (`ALLOWANCES`).

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

# Milli-°C at which the growths below are tabulated. Between two of them they go in a straight line, which is right to
# 0.2 % of the error; beyond them, where no food is, they stay.
GRID = range(-200_000, 400_001, 20_000)
_STEP = 20_000
_UNIT = 1_000_000  # what a fault is at 0 °C

_ICE_POINT = 273_150  # mK

# Sensitivities in 0.01 µV/K on the grid, from the derivatives of the reference functions of IEC 60584-1.
_TYPE_K = (
    1526,
    1880,
    2207,
    2511,
    2792,
    3049,
    3281,
    3487,
    3667,
    3823,
    3945,
    4033,
    4100,
    4142,
    4154,
    4137,
    4097,
    4049,
    4010,
    3992,
    3997,
    4020,
    4053,
    4088,
    4119,
    4145,
    4165,
    4183,
    4198,
    4212,
    4224,
)
_TYPE_T = (
    1574,
    1846,
    2106,
    2357,
    2602,
    2839,
    3066,
    3284,
    3491,
    3690,
    3875,
    4027,
    4196,
    4366,
    4528,
    4678,
    4819,
    4952,
    5078,
    5199,
    5315,
    5425,
    5530,
    5628,
    5721,
    5809,
    5893,
    5976,
    6055,
    6127,
    6180,
)


def _platinum(temperature: int) -> int:
    """R/R′, with R = 1 + A·t + B·t², A 3.9083e-3 and B −5.775e-7; the term that IEC 60751 adds below zero is tiny."""
    a, b = 39_083_000_000, -5_775  # of 1e16, t in milli-°C
    return _UNIT * (10**16 + a * temperature + b * temperature**2) * a // (10**16 * (a + 2 * b * temperature))


# What an error of 1 at 0 °C is on the grid, in millionths. Aged thermistor, beta equation: a relative change of resistance
# shifts the temperature by T²/β. Aged Pt100, IEC 60751: all resistances grew alike. Cold junction: a wrong voltage weighs
# less where the sensitivity is greater.
_AGED_THERMISTOR = tuple(_UNIT * (t + _ICE_POINT) ** 2 // _ICE_POINT**2 for t in GRID)
_AGED_PLATINUM = tuple(map(_platinum, GRID))
_COLD_JUNCTION_K = tuple(_UNIT * 3945 // each for each in _TYPE_K)
_COLD_JUNCTION_T = tuple(_UNIT * 3875 // each for each in _TYPE_T)

# The faults of each sensor that change most with the temperature; besides, its electronics may be off by the same
# everywhere, and all else (a resistance in the leads of a Pt100, 1.02 at 75 °C) lies in between. An unknown sensor may be
# any of them. Liquid in glass, bimetal: a scale or a pointer that has slipped.
FAULTS: dict[Sensor, tuple[tuple[int, ...], ...]] = {
    Sensor.THERMISTOR: (_AGED_THERMISTOR,),
    Sensor.UNKNOWN: (_AGED_THERMISTOR, _COLD_JUNCTION_T, _COLD_JUNCTION_K),
    Sensor.PT100_A: (_AGED_PLATINUM,),
    Sensor.PT100_B: (_AGED_PLATINUM,),
    Sensor.THERMOCOUPLE_T_1: (_COLD_JUNCTION_T,),
    Sensor.THERMOCOUPLE_T_2: (_COLD_JUNCTION_T,),
    Sensor.THERMOCOUPLE_K_1: (_COLD_JUNCTION_K,),
    Sensor.THERMOCOUPLE_K_2: (_COLD_JUNCTION_K,),
    Sensor.LIQUID_IN_GLASS: (),
    Sensor.BIMETAL: (),
}

# Percent of the larger error at two checked temperatures 100 K apart by which the error may lie off the straight line
# between them, for one fault: the aged resistance of a thermistor (beta equation, 2.3) or of a Pt100 (IEC 60751
# polynomial, 0.2); the cold junction of a thermocouple (IEC 60584-1 reference functions from 0 °C up: K 2.3, T 3.2).
# It goes by the square of the distance. Rounded up. Liquid in glass and bimetal: judgement.
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

# mK. Between temperatures further apart than this the bends above were not worked out.
FARTHEST_APART = 150_000

# mK. What CURVATURES and STEEPENINGS are stated for.
_CURVED_OVER = 100_000

Ratio = tuple[int, int]


def growth(sensor: Sensor, checked: int, there: int) -> tuple[Ratio, Ratio]:
    """What one fault may have made, somewhere else, of the error that a check found.

    Args:
        sensor: the kind of sensor (no unit).
        checked: the temperature of the check, milli-°C.
        there: the other temperature, milli-°C.

    Returns:
        The least and the greatest ratio of the error there to that at the check, each as numerator and denominator.

    Raises:
        ValueError: if the check was made at or below absolute zero.

    Source: FAULTS. At 75 °C, for a check at zero: thermistor 1 to 1.62, Pt100 1 to 1.32, type K 0.95 to 1, type T 0.86 to 1,
        unknown 0.86 to 1.62. Towards the cold an aged resistance shrinks and a cold junction grows.
    """
    if checked <= -_ICE_POINT:
        raise ValueError("A check cannot be made at absolute zero: give its temperature in milli-°C.")
    ratios = [(1, 1), *((_on_grid(fault, there), _on_grid(fault, checked)) for fault in FAULTS[sensor])]
    least = greatest = ratios[0]
    for ratio in ratios[1:]:
        least = ratio if ratio[0] * least[1] < least[0] * ratio[1] else least
        greatest = ratio if ratio[0] * greatest[1] > greatest[0] * ratio[1] else greatest
    return least, greatest


def _on_grid(fault: tuple[int, ...], temperature: int) -> int:
    """In straight lines between the temperatures of the grid, times its step."""
    inside = min(max(temperature, GRID[0]), GRID[-1] - 1)
    index, gone = divmod(inside - GRID[0], _STEP)
    return fault[index] * (_STEP - gone) + fault[index + 1] * gone


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

    A late rise (`LATE_BENDING`) comes on top.

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
