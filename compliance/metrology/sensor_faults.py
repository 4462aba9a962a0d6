"""What one fault makes of the error of a sensor at another temperature than that of its check.

A catalogue of faults for each kind of sensor, each by its own equation. A proportional one makes of the error at the check a
number of times as much elsewhere, or turns it round. A resistance beside a thermistor is reckoned by the beta equation itself,
since what it makes of an error grows without measure in proportion, and not in fact. Some faults make a sensor read too low
only, or too high only, and explain no error of the other sign.

Temperatures are in whole milli-°C, errors in mK. Sources stand beside each equation; "memory" marks what was not read again.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from math import exp, log

from .vocabulary import Sensor

# Milli-°C at which faults are tabulated. Between two of them they go in a straight line, which is right to 0.3 % of the
# error or 0.01 times that at the check; beyond them, where no food is, they stay.
GRID = range(-200_000, 400_001, 20_000)
_STEP = 20_000
_UNIT = 1_000_000  # what a fault is at 0 °C

_ICE_POINT = 273_150  # mK

# Sensitivities in 0.01 µV/K on the grid, from the derivatives of the reference functions of IEC 60584-1.
_SENSITIVITIES_K = (
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
_SENSITIVITIES_T = (
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

# Voltages in µV on the grid and at temperatures of rooms: reference tables of IEC 60584-1, which are those of NIST Monograph 175
# (ITS-90); worked out from the reference functions, which are from memory.
_VOLTS_K = (
    -5891,
    -5550,
    -5141,
    -4669,
    -4138,
    -3554,
    -2920,
    -2243,
    -1527,
    -778,
    0,
    798,
    1612,
    2436,
    3267,
    4096,
    4920,
    5735,
    6540,
    7340,
    8138,
    8940,
    9747,
    10561,
    11382,
    12209,
    13040,
    13874,
    14713,
    15554,
    16397,
)
_VOLTS_T = (
    -5603,
    -5261,
    -4865,
    -4419,
    -3923,
    -3379,
    -2788,
    -2153,
    -1475,
    -757,
    0,
    790,
    1612,
    2468,
    3358,
    4279,
    5228,
    6206,
    7209,
    8237,
    9288,
    10362,
    11458,
    12574,
    13709,
    14862,
    16032,
    17219,
    18422,
    19641,
    20872,
)
_ROOM_K = {10: 397, 15: 597, 20: 798, 25: 1000, 30: 1203, 35: 1407}
_ROOM_T = {10: 391, 15: 589, 20: 790, 25: 992, 30: 1196, 35: 1403}

# °C of the instrument at a check, and at a reading: the coldest and the hottest of each. Judgement: a check is made in a room of
# 15 to 30 °C, and the instrument is within 5 K of that when food is measured.
_ROOMS = ((15, 10), (15, 20), (30, 25), (30, 35))

# K by which the instrument may be warmer or colder at a reading than at the check; judgement, as above.
ROOM_CHANGES_BY = 5

# Milli-°C. A check so near to the temperature of the room does not see the gain of a thermocouple.
BLIND = range(5_000, 50_001)

# Kelvin, the greatest β of the beta equation between any two temperatures of food: data of food probes' thermistors give 3380 to
# 4300 (memory), and β changes with the temperature (Steinhart-Hart), so 4500; judgement. A smaller β makes an error between this
# one and one that stays. 200 more make up for the chords of `error_bounds`, which cut the curve of an error that shrinks.
_BETA = 4_700

Shape = tuple[int, ...]
Ratio = tuple[int, int]
Errors = tuple[int, int, int]  # the least, the likely and the greatest


def _platinum(temperature: int) -> int:
    """R/R′, with R = 1 + A·t + B·t², A 3.9083e-3 and B −5.775e-7; the term that IEC 60751 adds below zero is tiny."""
    a, b = 39_083_000_000, -5_775  # of 1e16, t in milli-°C
    return _UNIT * (10**16 + a * temperature + b * temperature**2) * a // (10**16 * (a + 2 * b * temperature))


def _leaking_platinum(temperature: int) -> int:
    """R²/R′: a leak of resistance L beside the element takes R²/(R + L) from R, and L is far above R."""
    a, b = 39_083_000_000, -5_775
    return _platinum(temperature) * (10**16 + a * temperature + b * temperature**2) // 10**16


@dataclass(frozen=True, slots=True)
class Proportional:
    """A fault that makes of an error at a check a number of times as much: one shape over another, on the grid.

    The two differ where it depends on the room that the instrument lies in. `only` is the sign of the errors that it can make;
    0: both.
    """

    checked: Shape
    there: Shape
    only: int = 0

    def ratio(self, checked: int, there: int) -> Ratio:
        above, below = _on_grid(self.there, there), _on_grid(self.checked, checked)
        return (above, below) if below > 0 else (-above, -below)

    def carried(self, errors: Errors, checked: int, there: int) -> tuple[Errors, int]:
        """The errors (mK) there, as numerators over one denominator."""
        above, below = self.ratio(checked, there)
        least, likely, most = errors
        return (least * above, likely * above, most * above), below


@dataclass(frozen=True, slots=True)
class BesideThermistor:
    """A resistance r in series with a thermistor, or one of p in parallel.

    Beta equation: R(T) = R0·exp(β·(1/T − 1/T0)), T in K. In series resistances add up: R(shown) = R(T) + r, it reads too low.
    In parallel their inverses do: 1/R(shown) = 1/R(T) + 1/p, it reads too high. Small errors go with (R0/R)·(T/T0)² in series and
    with (R/R0)·(T/T0)² in parallel. Any handbook of thermistors (memory).
    """

    beta: int
    only: int  # -1 in series, 1 in parallel

    def carried(self, errors: Errors, checked: int, there: int) -> tuple[Errors, int]:
        """The errors (mK) there, as numerators over one denominator."""
        here, at = _kelvin(checked), _kelvin(there)
        known, true = self._part(here), self._part(at)

        def error(found: int) -> int:
            added = self._part(max(here + found / 1000, _kelvin(GRID[0]))) - known
            shown = 1000 / _ICE_POINT - self.only * log(true + added) / self.beta
            return round(1_000_000 * (1 / shown - at))

        least, likely, most = map(error, errors)
        return (least, likely, most), 1000

    def _part(self, kelvin: float) -> float:
        """Of the resistance at 0 °C, or of its inverse."""
        return exp(-self.only * self.beta * (1 / kelvin - 1000 / _ICE_POINT))


def _kelvin(temperature: int) -> float:
    return (min(max(temperature, GRID[0]), GRID[-1]) + _ICE_POINT) / 1000


def _same(fault: Callable[[int], int], only: int = 0) -> Proportional:
    shape = tuple(map(fault, GRID))
    return Proportional(shape, shape, only)


def _cold_junction(sensitivities: Shape) -> Proportional:
    """A voltage that is off by the same everywhere weighs less where the sensitivity is greater."""
    shape = tuple(_UNIT * sensitivities[GRID.index(0)] // each for each in sensitivities)
    return Proportional(shape, shape)


def _gains(volts: Shape, sensitivities: Shape, room: dict[int, int]) -> tuple[Proportional, ...]:
    """An amplifier or its reference that makes (1 + g) of the voltage E(t) − E(room): the error is g·(E(t) − E(room))/S(t).

    With a reference that sags it reads too low in ice, and too high in what is hotter than the room. A crushed cable is a
    negative g: where its wires touch through a resistance they measure the place of the crush, and the voltage is divided.
    """

    def shape(at: int) -> Shape:
        return tuple(100 * _UNIT * (volt - room[at]) // each for volt, each in zip(volts, sensitivities, strict=True))

    return tuple(Proportional(shape(checked), shape(there)) for checked, there in _ROOMS)


# Electronics that are off by the same everywhere; a scale or a pointer that has slipped.
_OFFSET = _same(lambda _: _UNIT)
# Beta equation: a relative change of resistance shifts the temperature by T²/β.
_AGED_THERMISTOR = _same(lambda t: _UNIT * (t + _ICE_POINT) ** 2 // _ICE_POINT**2)
_BESIDE_THERMISTOR = (BesideThermistor(_BETA, -1), BesideThermistor(_BETA, 1))
# IEC 60751: all resistances grew alike; moisture leaks past the element.
_PLATINUM = (_OFFSET, _same(_platinum), _same(_leaking_platinum, -1))
_TYPE_K = (_cold_junction(_SENSITIVITIES_K), *_gains(_VOLTS_K, _SENSITIVITIES_K, _ROOM_K))
_TYPE_T = (_cold_junction(_SENSITIVITIES_T), *_gains(_VOLTS_T, _SENSITIVITIES_T, _ROOM_T))

Fault = Proportional | BesideThermistor

# The faults of each sensor that change most with the temperature; all else (a resistance in the leads of a Pt100, 1.02 at 75 °C)
# lies between them. An unknown sensor may have any; those of platinum lie between those of a thermistor.
FAULTS: dict[Sensor, tuple[Fault, ...]] = {
    Sensor.THERMISTOR: (_OFFSET, _AGED_THERMISTOR, *_BESIDE_THERMISTOR),
    Sensor.UNKNOWN: (_OFFSET, _AGED_THERMISTOR, *_BESIDE_THERMISTOR, *_TYPE_K, *_TYPE_T),
    Sensor.PT100_A: _PLATINUM,
    Sensor.PT100_B: _PLATINUM,
    Sensor.THERMOCOUPLE_T_1: (_OFFSET, *_TYPE_T),
    Sensor.THERMOCOUPLE_T_2: (_OFFSET, *_TYPE_T),
    Sensor.THERMOCOUPLE_K_1: (_OFFSET, *_TYPE_K),
    Sensor.THERMOCOUPLE_K_2: (_OFFSET, *_TYPE_K),
    Sensor.LIQUID_IN_GLASS: (_OFFSET,),
    Sensor.BIMETAL: (_OFFSET,),
}

# Those with a gain that depends on the room.
WITH_GAIN = frozenset(sensor for sensor in Sensor if sensor is Sensor.UNKNOWN or "thermocouple" in sensor)


@lru_cache(4096)
def carried(sensor: Sensor, errors: Errors, checked: int, there: int) -> tuple[tuple[Errors, int], ...]:
    """What each fault of the sensor makes elsewhere of the errors that a check allows.

    Args:
        sensor: the kind of sensor (no unit).
        errors: the least, the likely and the greatest at the check, mK.
        checked: the temperature of the check, milli-°C.
        there: the other temperature, milli-°C.

    Returns:
        Of each fault that can make such errors at all the three there (mK, as numerators and their denominator). Those of faults
        that make errors of both signs are the two that make least and most of them.

    Raises:
        ValueError: as `growth`.
    """
    least, likely, most = errors
    found = [((least * a, likely * a, most * a), b) for a, b in growth(sensor, checked, there)]
    for fault in FAULTS[sensor]:
        if fault.only and fault.only * (most if fault.only > 0 else least) > 0:
            low, middle, high = (fault.only * max(fault.only * each, 0) for each in errors)
            found.append(fault.carried((low, middle, high), checked, there))
    return tuple(found)


@lru_cache(4096)
def growth(sensor: Sensor, checked: int, there: int) -> tuple[Ratio, Ratio]:
    """What one fault that makes errors of both signs may have made, somewhere else, of the error that a check found.

    Args:
        sensor: the kind of sensor (no unit).
        checked: the temperature of the check, milli-°C.
        there: the other temperature, milli-°C.

    Returns:
        The least and the greatest ratio of the error there to that at the check, each as numerator and denominator above zero.

    Raises:
        ValueError: if the check was made at or below absolute zero, or so near to the temperature of the room that it does not
            see the gain of a sensor that has one.

    Source: FAULTS. At 75 °C, for a check at zero: thermistor 1 to 1.62, Pt100 1 to 1.32, type K -4.2 to 1, type T -4.0 to 1,
        unknown -4.2 to 1.62.
    """
    if checked <= -_ICE_POINT:
        raise ValueError("A check cannot be made at absolute zero: give its temperature in milli-°C.")
    if sensor in WITH_GAIN and checked in BLIND:
        raise ValueError("A check near the temperature of the room says nothing of this sensor elsewhere.")
    faults = [fault for fault in FAULTS[sensor] if isinstance(fault, Proportional) and not fault.only]
    least, *ratios = [fault.ratio(checked, there) for fault in faults]
    greatest = least
    for ratio in ratios:
        least = ratio if ratio[0] * least[1] < least[0] * ratio[1] else least
        greatest = ratio if ratio[0] * greatest[1] > greatest[0] * ratio[1] else greatest
    return least, greatest


def _on_grid(fault: Shape, temperature: int) -> int:
    """In straight lines between the temperatures of the grid, times its step."""
    inside = min(max(temperature, GRID[0]), GRID[-1] - 1)
    index, gone = divmod(inside - GRID[0], _STEP)
    return fault[index] * (_STEP - gone) + fault[index + 1] * gone
