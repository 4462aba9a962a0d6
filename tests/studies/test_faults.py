"""A small run of the study of single faults, and two of its probes by name."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from compliance.metrology.assessment import Bracket, bounds, classify, true_range
from compliance.metrology.error_bounds import ErrorAt
from compliance.metrology.vocabulary import Direction, Outcome, Sensor

from .fault_lives import CATALOGUE, Case, size_for
from .faults import STEPS, study

NOON = datetime(2031, 5, 1, 12, tzinfo=UTC)


@pytest.mark.parametrize("fault", CATALOGUE, ids=lambda fault: fault.name)
def test_the_truth_lies_in_the_stated_range_and_nothing_broken_is_called_held(fault):
    """About 100 readings by 15 probes each, with one display step after the other."""
    found = study(fault, STEPS[CATALOGUE.index(fault) % len(STEPS)], 15, 7)
    assert found.in_range >= 0.95
    assert found.held_wrong <= 0.005


def test_a_check_in_steam_decides_more_of_a_gain():
    gain = next(fault for fault in CATALOGUE if fault.name == "type K: gain")
    alone, both = (study(gain, 0.1, 25, 3, boils=boils) for boils in (False, True))
    assert both.undecided < alone.undecided and both.held_wrong <= 0.005


def checked(sensor: Sensor, *errors: int, temperatures: tuple[int, ...] = (0,)) -> Bracket:
    """0.0 °C at the good check and errors (mK) at the failed one, each ±0.1 °C, in ice or at these temperatures."""
    sides = [
        tuple(
            ErrorAt(at=at, temperature=t, error=error, expanded=100)
            for t, error in zip(temperatures, found, strict=True)
        )
        for at, found in ((NOON, (0,) * len(errors)), (NOON + timedelta(days=7), errors))
    ]
    return Bracket(start=sides[0], end=sides[1], sensor=sensor, resolution=100)


def shown(name: str, truth: float, error: float) -> float:
    """By a probe that has this error in ice, in a room of 22 °C; a thermistor of 10 kΩ at 25 °C."""
    fault = next(each for each in CATALOGUE if each.name == name)
    case, room = Case(np.zeros(1, dtype=np.int64)), np.full(1, 22.0)
    size = size_for(fault, case, np.full(1, error), room)
    return float(fault.shows(case, np.full(1, truth), size, room)[0])


def test_a_type_k_probe_whose_reference_sagged_is_not_called_held_at_75():
    """0.0, then -1.3 in ice; 76.7 shown, and the truth was 73.6: too low in ice, too high when hot."""
    assert shown("type K: gain", 73.6, -1.3) == pytest.approx(76.7, abs=0.15)
    for sensor in (Sensor.THERMOCOUPLE_K_1, Sensor.THERMOCOUPLE_K_2, Sensor.UNKNOWN):
        known = bounds(checked(sensor, -1_300))
        assert classify(76_700, 75_000, Direction.AT_LEAST, known) is Outcome.UNDECIDED
        low, high = true_range(76_700, known)
        assert low <= 73_600 <= high


def test_a_thermistor_with_a_corroded_plug_is_not_called_held_at_8():
    """0.0, then -1.24 in ice; 6.3 shown, and the truth was 8.3: the error grows by (R0/R)·(T/T0)²."""
    assert shown("thermistor: corroded plug", 8.3, -1.24) == pytest.approx(6.3, abs=0.1)
    for sensor in (Sensor.THERMISTOR, Sensor.UNKNOWN):
        known = bounds(checked(sensor, -1_240))
        assert classify(6_300, 8_000, Direction.AT_MOST, known) is Outcome.UNDECIDED
        low, high = true_range(6_300, known)
        assert low <= 8_300 <= high


def test_a_check_in_steam_of_the_same_sitting_tells_of_the_sagging_reference():
    """With that gain 100 °C shows about 104.5, and 80.0 is known to be above 75."""
    assert shown("type K: gain", 100, -1.3) == pytest.approx(104.5, abs=0.3)
    known = bounds(checked(Sensor.THERMOCOUPLE_K_1, -1_300, 4_400, temperatures=(0, 100_000)))
    assert classify(80_000, 75_000, Direction.AT_LEAST, known) is Outcome.HELD
    assert known.at(75_000)[1] < bounds(checked(Sensor.THERMOCOUPLE_K_1, -1_300)).at(75_000)[1]
