"""One fault each, simulated as a circuit: resistances and voltages, and what the instrument makes of them.

Nothing here uses the ratios of the product. An instrument knows the curve of its sensor (Steinhart-Hart, IEC 60751 or
IEC 60584-1) and shows what that makes of the ohms or microvolts at its plug. Temperatures in °C.

Sources: Steinhart-Hart coefficients of two common thermistors of 10 kΩ at 25 °C, and one of 100 kΩ by its beta equation (memory);
IEC 60751 and IEC 60584-1 as in `tests.metrology.sensor_physics`. Sizes of faults and temperatures of rooms: judgement.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from compliance.metrology.vocabulary import Sensor
from tests.metrology.sensor_physics import emf_k, emf_t

Array = NDArray[np.float64]
KELVIN = 273.15
# a, b, c of 1/T = a + b·ln R + c·(ln R)³, R in Ω
STEINHART_HART = (
    (1.129241e-3, 2.341077e-4, 8.775468e-8),
    (1.009249522e-3, 2.378405444e-4, 2.019202697e-7),
    (1 / 298.15 - np.log(100_000) / 4250, 1 / 4250, 0.0),
)
GRID = np.arange(-80.0, 301.0, 0.5)
VOLTS_K, VOLTS_T = (np.array([emf(t) for t in GRID]) for emf in (emf_k, emf_t))
LOG_OHMS = np.linspace(22.0, 0.0, 4000)
WARM = [1 / (a + b * LOG_OHMS + c * LOG_OHMS**3) - KELVIN for a, b, c in STEINHART_HART]


@dataclass(frozen=True)
class Case:
    """Which thermistor each of many probes has; the others have none."""

    kind: NDArray[np.int64]

    def ohms(self, at: Array) -> Array:
        """Of thermistors, by reading their curve backwards."""
        found = np.empty_like(at)
        for number, warm in enumerate(WARM):
            chosen = self.kind == number
            found[chosen] = np.exp(np.interp(at[chosen], warm, LOG_OHMS))
        return found

    def of_ohms(self, ohms: Array) -> Array:
        a, b, c = (np.array(each)[self.kind] for each in zip(*STEINHART_HART, strict=True))
        return np.asarray(1 / (a + b * np.log(ohms) + c * np.log(ohms) ** 3) - KELVIN)


def platinum(at: Array) -> Array:
    """IEC 60751, Ω."""
    cold = np.where(at < 0, -4.183e-12 * (at - 100) * at**3, 0)
    return np.asarray(100 * (1 + 3.9083e-3 * at - 5.775e-7 * at**2 + cold))


PLATINUM_OHMS = platinum(GRID)
# What a fault of a size makes a probe show at a true temperature, in a room of a temperature.
Shows = Callable[[Case, Array, Array, Array], Array]


def offset(case: Case, at: Array, size: Array, room: Array) -> Array:
    return at + size


def aged_thermistor(case: Case, at: Array, size: Array, room: Array) -> Array:
    return case.of_ohms(case.ohms(at) * (1 + size))


def corroded_plug(case: Case, at: Array, size: Array, room: Array) -> Array:
    """In series: a share of the resistance in ice."""
    return case.of_ohms(case.ohms(at) + size * case.ohms(np.zeros_like(at)))


def moist_thermistor(case: Case, at: Array, size: Array, room: Array) -> Array:
    return case.of_ohms(1 / (1 / case.ohms(at) + size / case.ohms(np.zeros_like(at))))


def aged_platinum(case: Case, at: Array, size: Array, room: Array) -> Array:
    return np.interp(platinum(at) * (1 + size), PLATINUM_OHMS, GRID)


def lead_of_platinum(case: Case, at: Array, size: Array, room: Array) -> Array:
    return np.interp(platinum(at) + 100 * size, PLATINUM_OHMS, GRID)


def leaking_platinum(case: Case, at: Array, size: Array, room: Array) -> Array:
    return np.interp(1 / (1 / platinum(at) + size / 100), PLATINUM_OHMS, GRID)


def of_couple(volts: Array, compensated: Callable[[Array], Array]) -> Shows:
    """`compensated`: the instrument adds the voltage of its own temperature; how much of it is wrong, in K, by the size."""

    def shows(case: Case, at: Array, size: Array, room: Array) -> Array:
        across = np.interp(at, GRID, volts) - np.interp(room, GRID, volts)
        return np.interp(across + np.interp(room + compensated(size), GRID, volts), volts, GRID)

    return shows


def gain_of_couple(volts: Array) -> Shows:
    """The amplifier makes (1 + size) of the voltage."""

    def shows(case: Case, at: Array, size: Array, room: Array) -> Array:
        across = np.interp(at, GRID, volts) - np.interp(room, GRID, volts)
        return np.interp(across * (1 + size) + np.interp(room, GRID, volts), volts, GRID)

    return shows


def crushed_couple(volts: Array) -> Shows:
    """The wires touch through a resistance where the cable has the temperature of the room, give or take 3 K by the size."""

    def shows(case: Case, at: Array, size: Array, room: Array) -> Array:
        across, touching = (np.interp(each, GRID, volts) for each in (at, room + 3 * np.sin(1e4 * size)))
        return np.interp(across * (1 - size) + touching * size, volts, GRID)

    return shows


@dataclass(frozen=True)
class Fault:
    """A fault with a sensor that may have it; `sign` is that of its sizes, 0: both."""

    name: str
    sensor: Sensor
    shows: Shows
    sign: int


def _same(couple: Array) -> Shows:
    return of_couple(couple, lambda size: size)


CATALOGUE = (
    Fault("thermistor: electronics", Sensor.THERMISTOR, offset, 0),
    Fault("thermistor: aged", Sensor.THERMISTOR, aged_thermistor, 0),
    Fault("thermistor: corroded plug", Sensor.THERMISTOR, corroded_plug, 1),
    Fault("thermistor: moisture", Sensor.THERMISTOR, moist_thermistor, 1),
    Fault("platinum: electronics", Sensor.PT100_A, offset, 0),
    Fault("platinum: aged", Sensor.PT100_A, aged_platinum, 0),
    Fault("platinum: lead", Sensor.PT100_B, lead_of_platinum, 1),
    Fault("platinum: leak", Sensor.PT100_B, leaking_platinum, 1),
    Fault("type K: electronics", Sensor.THERMOCOUPLE_K_1, offset, 0),
    Fault("type K: cold junction", Sensor.THERMOCOUPLE_K_1, _same(VOLTS_K), 0),
    Fault("type K: gain", Sensor.THERMOCOUPLE_K_1, gain_of_couple(VOLTS_K), 0),
    Fault("type K: crushed cable", Sensor.THERMOCOUPLE_K_2, crushed_couple(VOLTS_K), 1),
    Fault("type T: cold junction", Sensor.THERMOCOUPLE_T_1, _same(VOLTS_T), 0),
    Fault("type T: gain", Sensor.THERMOCOUPLE_T_1, gain_of_couple(VOLTS_T), 0),
    Fault("type T: crushed cable", Sensor.THERMOCOUPLE_T_2, crushed_couple(VOLTS_T), 1),
    Fault("not known: gain, type K", Sensor.UNKNOWN, gain_of_couple(VOLTS_K), 0),
    Fault("not known: corroded plug", Sensor.UNKNOWN, corroded_plug, 1),
    Fault("not known: moisture", Sensor.UNKNOWN, moist_thermistor, 1),
    Fault("bimetal: slipped pointer", Sensor.BIMETAL, offset, 0),
)


def size_for(fault: Fault, case: Case, error: Array, room: Array) -> Array:
    """How large a fault must be to make this error in ice, by halving."""
    ice = np.zeros_like(error)
    low, high = np.full_like(error, -0.4 if not fault.sign else 0.0), np.full_like(error, 0.4)
    if fault.shows is offset or "cold junction" in fault.name:
        low, high = 40 * low, 40 * high
    rising = fault.shows(case, ice, high, room) > fault.shows(case, ice, low, room)
    for _ in range(50):
        middle = (low + high) / 2
        more = (fault.shows(case, ice, middle, room) < error) == rising
        low, high = np.where(more, middle, low), np.where(more, high, middle)
    return (low + high) / 2


def sign_of(fault: Fault, case: Case) -> int:
    """Of the error in ice that a fault of one sign makes; 0: both."""
    one, zero = np.ones(1), np.zeros(1)
    shown = fault.shows(Case(case.kind[:1]), zero, 0.01 * one, 22 * one)[0]
    return int(np.sign(shown)) if fault.sign else 0
