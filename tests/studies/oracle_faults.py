"""Tables of what a fault makes of an error in ice, by circuits (`fault_lives`) and not by the ratios of the product.

Errors and temperatures in °C. A fault that makes errors of one sign only leaves those of the other as electronics would: a probe
may have been off the other way before it.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from itertools import product

import numpy as np

from compliance.metrology.vocabulary import Sensor

from .fault_lives import CATALOGUE, Case, offset, sign_of, size_for
from .fault_lives import Fault as Circuit
from .probe_lives import FAULTS, STEAM, Array

ERRORS = np.arange(-6.0, 6.1, 0.25)  # in ice
SHOWN = np.arange(-45.0, 131.0)
TRUTHS = np.arange(-60.0, 181.0, 0.5)

# As the product has it: checked in a room of 15 to 30 °C, and read within 5 K of that.
ROOMS = tuple((checked, checked + by) for checked, by in product((15.0, 22.5, 30.0), (-5.0, 0.0, 5.0)))
ONE_ROOM = ((22.5, 22.5),)
ELECTRONICS = 0  # in `FAULTS`

# Which faults of `CATALOGUE` a sensor may have, by how their names begin. A crushed cable is a gain below one.
KINDS = {
    Sensor.THERMISTOR: "thermistor",
    Sensor.PT100_A: "platinum",
    Sensor.PT100_B: "platinum",
    Sensor.THERMOCOUPLE_K_1: "type K",
    Sensor.THERMOCOUPLE_T_1: "type T",
}


@dataclass(frozen=True, eq=False)
class Cause:
    """One fault: how likely before any check (0 to 1), and the error (°C) for each of `ERRORS` in ice.

    `elsewhere` has a column for each of `SHOWN`: the error where the probe shows that. `steam`: the error at 100 °C.
    """

    likely: float
    elsewhere: Array
    steam: Array

    def where_shown(self, errors: Array, shown: Array) -> Array:
        """The error of readings that show this, by what the error in ice then was."""
        row, column = _place(errors, ERRORS), _place(shown, SHOWN)
        (i, up), (j, on) = _parts(row), _parts(column)
        table = self.elsewhere
        lower, upper = (table[k, j] * (1 - on) + table[k, j + 1] * on for k in (i, i + 1))
        return np.asarray(lower * (1 - up) + upper * up)

    def truth_per_shown(self, errors: Array, shown: Array) -> Array:
        """How far the truth moves where what is shown moves by one degree."""
        ahead, behind = (self.where_shown(errors, shown + by) for by in (1.0, -1.0))
        return 1 - (ahead - behind) / 2

    def in_steam(self, errors: Array) -> Array:
        return np.interp(errors, ERRORS, self.steam)


def _place(values: Array, grid: Array) -> Array:
    return np.asarray(np.clip((values - grid[0]) / (grid[1] - grid[0]), 0, len(grid) - 1.001))


def _parts(place: Array) -> tuple[np.ndarray, Array]:
    whole = place.astype(np.int64)
    return whole, place - whole


def _tabulated(likely: float, shows: Callable[[Array], Array]) -> Cause:
    """`shows`: what is shown at true temperatures, a row for each of `ERRORS`. Where it runs back, the coldest truth counts."""
    rows = np.maximum.accumulate(shows(TRUTHS), axis=1)
    elsewhere = np.array([SHOWN - np.interp(SHOWN, row, TRUTHS) for row in rows])
    return Cause(likely, elsewhere, shows(np.array([STEAM]))[:, 0] - STEAM)


@cache
def of_sensor(sensor: Sensor) -> tuple[Cause, ...]:
    """Every fault that the product's catalogue allows a sensor of this kind, each as likely as the others."""
    kind = KINDS[sensor]
    own = [c for c in CATALOGUE if c.name.startswith(kind) and "crushed" not in c.name and c.shows is not offset]
    found = [of_lives(ELECTRONICS, 1 / (len(own) + 1))]
    for circuit in own:
        kinds = range(3) if sensor is Sensor.THERMISTOR else (0,)
        variants = list(product(kinds, ROOMS if "gain" in circuit.name else ONE_ROOM))
        found += [_of_circuit(circuit, *each, 1 / (len(own) + 1) / len(variants)) for each in variants]
    return tuple(found)


@cache
def of_lives(fault: int, likely: float = 1.0) -> Cause:
    """The fault of this number that `probe_lives` gave a probe."""
    ratio = FAULTS[fault].ratio
    return _tabulated(likely, lambda truths: truths + ERRORS[:, None] * ratio(truths))


def _of_circuit(circuit: Circuit, kind: int, rooms: tuple[float, float], likely: float) -> Cause:
    def case(count: int) -> Case:
        return Case(np.full(count, kind))

    sign = sign_of(circuit, case(1))
    sizes = size_for(circuit, case(len(ERRORS)), ERRORS, np.full(len(ERRORS), rooms[0]))

    def shows(truths: Array) -> Array:
        at, size = (each.ravel() for each in np.broadcast_arrays(truths, sizes[:, None]))
        shown = circuit.shows(case(len(at)), at, size, np.full(len(at), rooms[1])).reshape(len(sizes), -1)
        return np.where((sign * ERRORS < 0)[:, None], truths + ERRORS[:, None], shown)

    return _tabulated(likely, shows)
