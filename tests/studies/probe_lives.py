"""Simulated lives of probes: how the error at 0 °C goes with time, what it is elsewhere, and what checks find of it.

Times are in days, temperatures and errors in °C; an error is what the probe reads minus the truth. Arrays have one row
a life. The shapes of lives and their sizes are judgement; the causes are those that a sensor's physics allows.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from compliance.metrology.uncertainty import combine, digit, normal, rectangular
from compliance.metrology.vocabulary import Sensor

Array = NDArray[np.float64]
KELVIN = 273.15
DISPLAY = 0.1  # °C
CHECKS = 40  # after the one that puts a probe into service


class Form(StrEnum):
    """How the error at 0 °C goes with time."""

    STEADY = "steady"
    LINEAR = "linear"
    STEP = "step"
    DROP = "drop"
    WANDER = "wander"


@dataclass(frozen=True)
class Fault:
    """A sensor, and its error at a temperature (°C) for an error of 1 °C at 0 °C.

    `hidden` (°C) bounds what the error at 75 °C may have besides, in proportion to the temperature, unseen at 0 °C.
    """

    name: str
    sensor: Sensor
    ratio: Callable[[Array], Array]
    hidden: float


def _offset(at: Array) -> Array:
    return np.ones_like(at)


def _aged_thermistor(at: Array) -> Array:
    """The beta equation: a relative change of resistance shifts the temperature by T²/β."""
    return np.asarray(((at + KELVIN) / KELVIN) ** 2)


# IEC 60751: R = R0 (1 + A t + B t²); the small term below 0 °C does not matter here.
PT_A, PT_B = 3.9083e-3, -5.775e-7


def _lead(at: Array) -> Array:
    return np.asarray(PT_A / (PT_A + 2 * PT_B * at))


def _aged_pt100(at: Array) -> Array:
    return np.asarray((1 + PT_A * at + PT_B * at**2) * _lead(at))


def _cold_junction(at_75: float) -> Callable[[Array], Array]:
    return lambda at: np.asarray(1 + (at_75 - 1) * at / 75)


# What is hidden is as large as the tolerances in proportion to |t| allow (IEC 60751, IEC 60584-1); thermistor: judgement.
FAULTS = (
    Fault("thermistor, electronics", Sensor.THERMISTOR, _offset, 0.2),
    Fault("thermistor, aged", Sensor.THERMISTOR, _aged_thermistor, 0.2),
    Fault("Pt100, lead", Sensor.PT100_A, _lead, 0.15),
    Fault("Pt100, aged", Sensor.PT100_A, _aged_pt100, 0.15),
    Fault("Pt100 of class B, lead", Sensor.PT100_B, _lead, 0.375),
    Fault("Pt100 of class B, aged", Sensor.PT100_B, _aged_pt100, 0.375),
    Fault("type K, electronics", Sensor.THERMOCOUPLE_K_1, _offset, 0.3),
    Fault("type K, cold junction", Sensor.THERMOCOUPLE_K_1, _cold_junction(0.95), 0.3),
    Fault("type T, electronics", Sensor.THERMOCOUPLE_T_1, _offset, 0.3),
    Fault("type T, cold junction", Sensor.THERMOCOUPLE_T_1, _cold_junction(0.86), 0.3),
)
CAUSES = 2  # of each sensor, one after the other


@dataclass(frozen=True)
class Bath:
    """One way of making a check: half-width of the reference (°C), and the budget that follows from it."""

    half_width: float
    standard: float
    expanded: float


SETTLING, STEM = 0.02, 0.01


def _bath(half_width: float) -> Bath:
    budget = combine(
        [
            rectangular("bath", half_width, "how it was made"),
            digit("display", DISPLAY, "steps of the display"),
            rectangular("settling", SETTLING, "still to come"),
            normal("stem", STEM, "warmth along the stem"),
        ]
    )
    return Bath(half_width, budget.combined, budget.expanded)


BATHS = (_bath(0.05), _bath(0.2))
BATH_SHARES = (0.7, 0.3)
STEAM = 100.0  # °C
BOILING = _bath(0.3)  # pressure of the day not measured, some superheat


@dataclass(frozen=True)
class Lives:
    """Probes of one form. `checks` and `readings` are the errors at 0 °C in truth at `checked` and `taken` (days)."""

    form: Form
    every: Array
    tolerance: Array
    fault: NDArray[np.int64]
    hidden: Array  # °C at 75 °C
    boils: NDArray[np.bool_]
    checked: Array  # n × (CHECKS + 1)
    taken: Array  # n × CHECKS × readings
    jump: Array  # day of a step or drop, infinite where there is none
    event: Array  # the same where it is on record
    deviation: Array  # °C, of a wandering error about zero
    memory: Array  # days
    checks: Array
    readings: Array
    bath: NDArray[np.int64]
    standard: Array  # °C, of each check at 0 °C
    expanded: Array
    found: Array
    boiled: Array


def error_at(zero: Array, at: Array, fault: NDArray[np.int64], hidden: Array) -> Array:
    """The error (°C) at a true temperature of a probe whose error at 0 °C is `zero`; all of one shape."""
    ratios = np.choose(fault, [each.ratio(at) for each in FAULTS])
    return np.asarray(zero * ratios + hidden * at / 75)


def ou_path(times: Array, deviation: Array, memory: Array, rng: np.random.Generator) -> Array:
    """An Ornstein-Uhlenbeck process, exact at any times (rows in any order), started from its own distribution."""
    order = np.argsort(times, axis=1)
    gaps = np.diff(np.take_along_axis(times, order, 1), axis=1)
    shocks = rng.standard_normal(times.shape)
    path = np.empty_like(times)
    path[:, 0] = deviation * shocks[:, 0]
    for step in range(times.shape[1] - 1):
        kept = np.exp(-gaps[:, step] / memory)
        path[:, step + 1] = kept * path[:, step] + deviation * np.sqrt(1 - kept**2) * shocks[:, step + 1]
    back = np.empty_like(path)
    np.put_along_axis(back, order, path, 1)
    return back


def simulate(
    form: Form, size: int, readings: int, rng: np.random.Generator, count: int = CHECKS, *, one_bath: bool = False
) -> Lives:
    """`size` probes of one form, each checked `count` times after it came into service, with readings in between.

    Baths differ from check to check, or from probe to probe only (`one_bath`).
    """
    every = rng.choice([1.0, 7.0, 28.0], size)
    tolerance = rng.choice([0.5, 1.0], size)
    fault = rng.integers(len(FAULTS), size=size)
    event = np.full(size, np.inf)
    if form in (Form.STEP, Form.DROP):
        event = every * rng.uniform(1, count * 3 / 4, size)
    checked = _check_times(form, every, event, count, rng)
    taken = checked[:, :-1, None] + np.diff(checked)[:, :, None] * rng.uniform(0, 1, (size, count, readings))
    deviation, memory = tolerance * rng.uniform(0.4, 0.8, size), every * rng.uniform(2, 20, size)
    times = np.concatenate([checked, taken.reshape(size, -1)], axis=1)
    zero = _path(form, times, every, tolerance, event, deviation, memory, rng)
    hidden = rng.uniform(-1, 1, size) * np.array([each.hidden for each in FAULTS])[fault]
    bath = rng.choice(len(BATHS), checked.shape, p=BATH_SHARES)
    bath = np.broadcast_to(bath[:, :1], bath.shape) if one_bath else bath
    checks = zero[:, : count + 1]
    widths = np.array([b.half_width for b in BATHS])[bath]
    steam = error_at(checks, np.full_like(checks, STEAM), fault[:, None], hidden[:, None])
    return Lives(
        form=form,
        every=every,
        tolerance=tolerance,
        fault=fault,
        hidden=hidden,
        boils=rng.random(size) < 0.3,
        checked=checked,
        taken=taken,
        jump=event,
        event=event if form is Form.DROP else np.full(size, np.inf),
        deviation=deviation,
        memory=memory,
        checks=checks,
        readings=zero[:, count + 1 :].reshape(taken.shape),
        bath=bath,
        standard=np.array([b.standard for b in BATHS])[bath],
        expanded=np.array([b.expanded for b in BATHS])[bath],
        found=_found(checks, widths, rng),
        boiled=_found(steam, BOILING.half_width, rng),
    )


def _check_times(form: Form, every: Array, event: Array, count: int, rng: np.random.Generator) -> Array:
    """About every interval. After a known drop half of the probes are checked at once, others when it is due."""
    size = len(every)
    checked = every[:, None] * (np.arange(count + 1) + rng.uniform(-0.1, 0.1, (size, count + 1)))
    if form is Form.DROP:
        at_once = np.flatnonzero(rng.random(size) < 0.5)
        following = np.argmax(checked > event[:, None], axis=1)[at_once]
        soon = event[at_once] + every[at_once] * rng.uniform(0.01, 0.1, len(at_once))
        checked[at_once, following] = np.minimum(checked[at_once, following], soon)
    return checked


def _path(
    form: Form,
    times: Array,
    every: Array,
    tolerance: Array,
    event: Array,
    deviation: Array,
    memory: Array,
    rng: np.random.Generator,
) -> Array:
    size = len(every)
    sign = rng.choice([-1.0, 1.0], size)
    level = tolerance * rng.uniform(-0.4, 0.4, size)
    if form is Form.WANDER:
        return ou_path(times, deviation, memory, rng)
    if form is Form.STEADY:  # near the edge of tolerance, where noise makes it pass and fail
        return np.broadcast_to((sign * tolerance * rng.uniform(0.8, 1.2, size))[:, None], times.shape).copy()
    if form is Form.LINEAR:
        rate = sign * tolerance / (every * rng.uniform(3, 40, size))
        return level[:, None] + rate[:, None] * times
    jump = sign * tolerance * rng.uniform(1.1, 4.0, size) - level
    return level[:, None] + jump[:, None] * (times >= event[:, None])


def _found(errors: Array, half_width: Array | float, rng: np.random.Generator) -> Array:
    """What a check shows of an error: reference, stem and settling as in its budget, rounded by the display."""
    shown = errors + rng.uniform(-1, 1, errors.shape) * half_width
    shown += rng.normal(0, STEM, errors.shape) + rng.uniform(-SETTLING, SETTLING, errors.shape)
    return np.asarray(np.round(shown / DISPLAY) * DISPLAY)
