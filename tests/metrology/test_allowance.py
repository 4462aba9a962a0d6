"""How much the error may grow away from zero: against the standards and the physics of each sensor."""

from datetime import UTC, datetime, timedelta
from fractions import Fraction
from math import ceil, exp, log, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.metrology.allowances import FARTHEST_APART, allowance_at_75, bend
from compliance.metrology.assessment import Bracket, ErrorAt, bounds, true_range
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
    start, end = ((ErrorAt(at=at, temperature=0, error=error, expanded=1),) for at in (NOON, NOON + timedelta(days=7)))
    coldest, hottest = true_range(reading, bounds(Bracket(start=start, end=end, sensor=sensor)))
    assert coldest - 1 <= truth * 1_000 <= hottest + 1


A, B = 3.9083e-3, -5.775e-7


def resistance(celsius: float) -> float:
    return 100 * (1 + A * celsius + B * celsius**2)


def temperature(ohms: float) -> float:
    return (-A + sqrt(A**2 - 4 * B * (1 - ohms / 100))) / (2 * B)


# IEC 60584-1 reference functions from 0 °C up, µV (from memory; they give the published 4.096 and 4.279 mV at 100 °C).
TYPE_K = (-1.7600413686e1, 3.8921204975e1, 1.8558770032e-2, -9.9457592874e-5, 3.1840945719e-7, -5.6072844889e-10)
TYPE_K_BUMP = (1.185976e2, -1.183432e-4, 126.9686)
TYPE_T = (0.0, 3.8748106364e1, 3.329222788e-2, 2.0618243404e-4, -2.1882256846e-6, 1.0996880928e-8, -3.0815758772e-11)
TYPE_K_MORE = (5.6075059059e-13, -3.2020720003e-16, 9.7151147152e-20, -1.2104721275e-23)
TYPE_T_MORE = (4.547913529e-14, -2.7512901673e-17)


def emf_k(celsius: float) -> float:
    a0, a1, a2 = TYPE_K_BUMP
    return polynomial(TYPE_K + TYPE_K_MORE, celsius) + a0 * exp(a1 * (celsius - a2) ** 2)


def emf_t(celsius: float) -> float:
    return polynomial(TYPE_T + TYPE_T_MORE, celsius)


def polynomial(coefficients, x: float) -> float:
    return sum(c * x**power for power, c in enumerate(coefficients))


def sensitivity(emf, celsius: float) -> float:
    return (emf(celsius + 0.01) - emf(celsius - 0.01)) / 0.02


def test_the_reference_functions_give_the_published_voltages():
    """IEC 60584-1, reference tables: 4.096 mV (K) and 4.279 mV (T) at 100 °C (from memory)."""
    assert round(emf_k(100) / 1000, 3) == 4.096 and round(emf_t(100) / 1000, 3) == 4.279


def thermistor_series(beta: float):
    """A resistance in series: the error is −T²/B · r/R(T), and R falls steeply with T."""
    return lambda t: -((t + 273.15) ** 2) * exp(-beta / (t + 273.15))


# One fault each: what it makes of the error, up to a factor.
FAULTS = {
    "thermistor, aged resistance": (Sensor.THERMISTOR, lambda t: (t + 273.15) ** 2),
    "thermistor, in series, B 3000": (Sensor.THERMISTOR, thermistor_series(3000)),
    "thermistor, in series, B 3435": (Sensor.THERMISTOR, thermistor_series(3435)),
    "thermistor, in series, B 4200": (Sensor.THERMISTOR, thermistor_series(4200)),
    "platinum, resistance at zero": (Sensor.PT100_A, lambda t: resistance(t) / (A + 2 * B * t)),
    "platinum, leads": (Sensor.PT100_A, lambda t: 1 / (A + 2 * B * t)),
    "type K, cold junction": (Sensor.THERMOCOUPLE_K_1, lambda t: 1 / sensitivity(emf_k, t)),
    "type K, gain": (Sensor.THERMOCOUPLE_K_1, lambda t: emf_k(t) / sensitivity(emf_k, t)),
    "type T, cold junction": (Sensor.THERMOCOUPLE_T_1, lambda t: 1 / sensitivity(emf_t, t)),
    "type T, gain": (Sensor.THERMOCOUPLE_T_1, lambda t: emf_t(t) / sensitivity(emf_t, t)),
}


class TestBetweenTwoCheckedTemperatures:
    @pytest.mark.parametrize("fault", FAULTS)
    @given(size=st.floats(-3, 3), cold=st.floats(0, 60), apart=st.floats(20, 120), where=st.floats(0, 1))
    def test_one_fault_lies_along_the_line_and_within_the_bend(self, fault, size, cold, apart, where):
        """The fault makes an error of up to 3 °C at the hotter check or the colder, whichever is larger."""
        sensor, shape = FAULTS[fault]
        hot, truth = cold + apart, cold + apart * where
        scale = size / max(abs(shape(cold)), abs(shape(hot)))
        points = [(round(t * 1_000), round(scale * shape(t) * 1_000)) for t in (cold, hot)]
        side = tuple(ErrorAt(at=NOON, temperature=t, error=e, expanded=1) for t, e in points)
        unseen = bend(sensor, 0, 0, side[1].temperature - side[0].temperature)[1]
        low, high = bounds(Bracket(start=side, end=side, sensor=sensor)).at(round(truth * 1_000))
        error = scale * shape(truth) * 1_000
        assert low - 3 <= error <= high + 3
        flat = 0 <= where <= 1 and min(8 * where, 8 * (1 - where), 1) * unseen  # what no check sees has its own share
        assert low + flat - 6 <= error <= high - flat + 6

    @pytest.mark.parametrize("fault", FAULTS)
    def test_the_bend_holds_the_fault_without_the_help_of_what_no_check_sees(self, fault):
        """3 °C at 0 or 100 °C, the fault alone: its distance from the line against the bend less the unseen share."""
        sensor, shape = FAULTS[fault]
        scale = 3_000 / max(abs(shape(0)), abs(shape(100)))
        ends = [scale * shape(t) for t in (0, 100)]
        unseen = bend(sensor, 0, 0, 100_000)[1]
        for t in (25, 50, 75):
            off = scale * shape(t) - (ends[0] + (ends[1] - ends[0]) * t / 100)
            up = bend(sensor, 3_000, round(ends[0] - ends[1]) if off > 0 else round(ends[1] - ends[0]), 100_000)
            late = (up[1] - bend(sensor, 3_000, 0, 100_000)[1]) * min(2 * t / 100, 1)
            assert abs(off) <= bend(sensor, 3_000, 0, 100_000)[1] - unseen + late + 1

    def test_the_bend_is_not_much_more_than_a_late_rise_needs(self):
        """B 4200, from 0 to 100 °C: half way the error lies 0.38 of the rise below the line; the bound lets it to 0.5."""
        shape = thermistor_series(4200)
        straight = (shape(0) + shape(100)) / 2
        assert (straight - shape(50)) / (shape(100) - shape(0)) == pytest.approx(0.376, abs=0.001)

    @pytest.mark.parametrize("sensor", list(Sensor))
    def test_what_no_check_sees_never_rises_faster_than_the_allowance_of_one_check(self, sensor):
        """The first eighth of the way, 12.5 K of 100."""
        assert bend(sensor, 0, 0, 100_000)[0] / 12.5 <= allowance_at_75(sensor, 0) / 75 + 0.1

    @pytest.mark.parametrize("apart", [0, FARTHEST_APART + 1])
    def test_too_far_apart_is_refused(self, apart):
        with pytest.raises(ValueError, match="up to 150 K apart"):
            bend(Sensor.THERMISTOR, 0, 0, apart)


class TestCheckedFarFromZero:
    @given(st.floats(-3, 3), st.floats(-40, 100), st.floats(-40, 120))
    def test_an_aged_thermistor_checked_at_any_temperature(self, error, checked, truth):
        """The error grows with the square of the absolute temperature, from wherever it was checked."""
        side = (ErrorAt(at=NOON, temperature=round(checked * 1_000), error=round(error * 1_000), expanded=1),)
        low, high = bounds(Bracket(start=side, end=side, sensor=Sensor.THERMISTOR)).at(round(truth * 1_000))
        grown = error * ((truth + 273.15) / (checked + 273.15)) ** 2
        assert low - 1 <= grown * 1_000 <= high + 1

    def test_below_zero_more_is_left_to_grow(self):
        assert allowance_at_75(Sensor.THERMISTOR, 1_000, -40_000) == 200 + ceil(620 * (273.15 / 233.15) ** 2)
        assert allowance_at_75(Sensor.THERMISTOR, 1_000, 60_000) == 820

    def test_absolute_zero_is_refused(self):
        with pytest.raises(ValueError, match="absolute zero"):
            allowance_at_75(Sensor.THERMISTOR, 0, -273_150)
