"""How much the error may grow away from zero: against the standards and the physics of each sensor."""

from datetime import UTC, datetime, timedelta
from fractions import Fraction
from math import ceil, log, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.metrology.assessment import Bracket, ErrorAt, allowance_at_75, bounds, true_range
from compliance.metrology.vocabulary import Sensor

NOON = datetime(2031, 5, 1, 12, tzinfo=UTC)
THERMOCOUPLES = [
    Sensor.THERMOCOUPLE_K_1,
    Sensor.THERMOCOUPLE_K_2,
    Sensor.THERMOCOUPLE_T_1,
    Sensor.THERMOCOUPLE_T_2,
]
errors = st.integers(-5_000, 5_000)


class TestAllowance:
    @pytest.mark.parametrize("sensor, per_degree", [(Sensor.PT100_A, 0.002), (Sensor.PT100_B, 0.005)])
    def test_platinum_has_what_the_tolerance_of_its_class_gains_from_zero_to_75(self, sensor, per_degree):
        """IEC 60751: class A 0.15 + 0.002·|t|, class B 0.30 + 0.005·|t| °C."""
        assert allowance_at_75(sensor, 0) == round(per_degree * 75_000)

    @pytest.mark.parametrize("sensor", THERMOCOUPLES)
    def test_a_thermocouple_has_the_proportional_part_of_its_class(self, sensor):
        """IEC 60584-1, from memory: class 1 0.004·|t|, class 2 0.0075·|t|. Rounded up to whole mK."""
        per_degree = Fraction(4, 1_000) if sensor.endswith("_1") else Fraction(75, 10_000)
        assert allowance_at_75(sensor, 0) == ceil(per_degree * 75_000)

    @pytest.mark.parametrize(
        "sensor, half_width",
        [(Sensor.THERMISTOR, 200), (Sensor.UNKNOWN, 500), (Sensor.BIMETAL, 500), (Sensor.LIQUID_IN_GLASS, 500)],
    )
    def test_the_others_have_a_sensible_half_width(self, sensor, half_width):
        """Judgement, no source."""
        assert allowance_at_75(sensor, 0) == half_width

    def test_a_thermistor_that_errs_at_zero_errs_more_away_from_it(self):
        """Judgement: 0.2 °C and 0.62 of the error at zero, of either sign, rounded up."""
        assert allowance_at_75(Sensor.THERMISTOR, 1_000) == allowance_at_75(Sensor.THERMISTOR, -1_000) == 820
        assert allowance_at_75(Sensor.THERMISTOR, 1) == 201

    @given(st.sampled_from(list(Sensor)), errors, errors)
    def test_it_never_shrinks_as_the_error_at_zero_grows(self, sensor, one, other):
        small, large = sorted((one, other), key=abs)
        assert allowance_at_75(sensor, small) <= allowance_at_75(sensor, large)


def allowed(sensor: Sensor, zero_error: float) -> float:
    """The allowance at 75 °C beyond the half-width that the sensor has without an error, in °C."""
    return (allowance_at_75(sensor, round(zero_error * 1_000)) - allowance_at_75(sensor, 0)) / 1_000


class TestFaultsThatShowAtZero:
    """One fault, an error at zero: what it makes of the error elsewhere must lie within the allowance."""

    @given(st.floats(-3, 3), st.floats(-40, 120))
    def test_an_aged_thermistor(self, zero_error, truth):
        """Beta equation, R = R25·exp(B·(1/T − 1/298.15)), B 3435 K (a usual one): all resistances grew alike."""
        ageing = 3_435 * (1 / (273.15 + zero_error) - 1 / 273.15)
        shown = 1 / (1 / (273.15 + truth) + ageing / 3_435) - 273.15
        assert_in_range(Sensor.THERMISTOR, zero_error, truth, shown)
        assert_in_range(Sensor.UNKNOWN, zero_error, truth, shown)

    @given(st.sampled_from([Sensor.PT100_A, Sensor.PT100_B]), st.floats(-3, 3), st.floats(0, 120))
    def test_a_platinum_sensor_whose_ice_point_resistance_changed(self, sensor, zero_error, truth):
        """IEC 60751: R = 100·(1 + A·t + B·t²) from 0 °C up, A 3.9083e-3, B −5.775e-7 (from memory)."""
        changed = resistance(zero_error) / resistance(0)
        assert_in_range(sensor, zero_error, truth, temperature(resistance(truth) * changed))

    @given(st.sampled_from([Sensor.PT100_A, Sensor.PT100_B]), st.floats(-3, 3), st.floats(0, 120))
    def test_a_platinum_sensor_with_a_resistance_in_its_leads(self, sensor, zero_error, truth):
        added = resistance(zero_error) - resistance(0)
        assert_in_range(sensor, zero_error, truth, temperature(resistance(truth) + added))

    @pytest.mark.parametrize("sensor", THERMOCOUPLES)
    @given(zero_error=st.floats(-3, 3))
    def test_a_cold_junction_offset(self, sensor, zero_error):
        """Sensitivities at 0 and 75 °C from the IEC 60584-1 polynomials: K 39.45/41.4, T 38.75/44.88 µV/K (memory)."""
        ratio = 38.75 / 44.88 if "_t_" in sensor else 39.45 / 41.4
        assert allowed(sensor, zero_error) >= abs((ratio - 1) * zero_error) - 0.001

    @pytest.mark.parametrize("sensor, ratio", [(Sensor.THERMISTOR, 1.62), (Sensor.PT100_A, 1.32)])
    def test_the_growth_is_not_more_than_its_worst_fault_needs(self, sensor, ratio):
        assert allowed(sensor, 1.0) == pytest.approx(ratio - 1, abs=0.0051)

    def test_the_beta_equation_gives_the_ratio_of_an_aged_thermistor(self):
        """A small relative change of resistance shifts T by T²/B: (348.15/273.15)² = 1.62."""
        shift = log(1.01) / 3_435
        at_zero, at_75 = (1 / (1 / kelvin - shift) - kelvin for kelvin in (273.15, 348.15))
        assert at_75 / at_zero == pytest.approx(1.62, abs=0.01)


def assert_in_range(sensor: Sensor, zero_error: float, truth: float, shown: float) -> None:
    error, reading = round(zero_error * 1_000), round(shown * 1_000)
    start, end = (ErrorAt(at=at, error=error, expanded=1) for at in (NOON, NOON + timedelta(days=7)))
    known = bounds(Bracket(start=start, end=end, allowance=allowance_at_75(sensor, abs(error) + 1)))
    coldest, hottest = true_range(reading, known)
    assert coldest - 1 <= truth * 1_000 <= hottest + 1


A, B = 3.9083e-3, -5.775e-7


def resistance(celsius: float) -> float:
    return 100 * (1 + A * celsius + B * celsius**2)


def temperature(ohms: float) -> float:
    return (-A + sqrt(A**2 - 4 * B * (1 - ohms / 100))) / (2 * B)
