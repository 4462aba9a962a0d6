"""What the oracle of probe lives knows of faults, against worked figures: error in ice → error where this is shown."""

import numpy as np
import pytest

from compliance.metrology.vocabulary import Sensor

from .oracle_faults import KINDS, of_lives, of_sensor


@pytest.mark.parametrize("sensor", KINDS)
def test_the_faults_of_a_sensor_are_likely_to_be_one_of_them(sensor):
    assert sum(cause.likely for cause in of_sensor(sensor)) == pytest.approx(1)


def test_electronics_are_off_by_the_same_everywhere():
    shown = np.array([-20.0, 4.3, 75.0])
    assert of_lives(0).where_shown(np.full(3, -1.3), shown) == pytest.approx(-1.3)
    assert of_lives(0).in_steam(np.array([-1.3])) == pytest.approx(-1.3)


def test_an_aged_thermistor_goes_by_the_square_of_the_temperature():
    """75 °C shows 75 + (348.15/273.15)² = 76.62."""
    error = of_lives(1).where_shown(np.ones(1), np.array([76.62]))
    assert error == pytest.approx((348.15 / 273.15) ** 2, abs=0.01)


def test_a_sagging_reference_reads_too_low_in_ice_and_too_high_in_steam():
    """-1.3 in ice in a room of 22.5 °C: about (100 - 22.5)/22.5 times as much at 100 °C, the other way."""
    errors = [float(cause.in_steam(np.array([-1.3]))[0]) for cause in of_sensor(Sensor.THERMOCOUPLE_K_1)]
    assert any(4.1 < error < 4.9 for error in errors) and max(errors) < 8


def test_a_corroded_plug_never_reads_too_high():
    """What is too high goes as electronics do; what is too low grows many times."""
    plugs = [c for c in of_sensor(Sensor.THERMISTOR) if c.in_steam(np.array([-1.0]))[0] < -5]
    assert len(plugs) == 3
    for plug in plugs:
        assert plug.where_shown(np.ones(1), np.array([60.0])) == pytest.approx(1)
