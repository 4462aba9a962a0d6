"""How much the error may grow away from zero: against the standards and the physics of each sensor."""

from datetime import UTC, datetime, timedelta
from fractions import Fraction
from itertools import product
from math import ceil, exp, hypot

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from compliance.metrology.allowances import ALLOWANCES, EARLY_BENDING, FARTHEST_APART, STATED_AT, bend, unseen_between
from compliance.metrology.assessment import Bracket, bounds, true_range
from compliance.metrology.error_bounds import ErrorAt
from compliance.metrology.sensor_faults import WITH_GAIN, growth
from compliance.metrology.vocabulary import Sensor

from .envelope_oracle import DRAWN, SHAPES, Oracle, gain, runs_back
from .sensor_physics import (
    aged_platinum,
    aged_thermistor,
    cold_junction_k,
    cold_junction_t,
    emf_k,
    emf_t,
    leads_of_platinum,
    leaking_platinum,
    resistance,
    temperature,
)

NOON = datetime(2031, 5, 1, 12, tzinfo=UTC)
THERMOCOUPLES = [
    Sensor.THERMOCOUPLE_K_1,
    Sensor.THERMOCOUPLE_K_2,
    Sensor.THERMOCOUPLE_T_1,
    Sensor.THERMOCOUPLE_T_2,
]
PLAIN = [Sensor.PT100_A, Sensor.PT100_B, Sensor.LIQUID_IN_GLASS, Sensor.BIMETAL]
CHECKED = st.integers(-40_000, 100_000)
FOR_EACH = settings(max_examples=12)  # of what is asked of each sensor or fault


class TestAllowance:
    @pytest.mark.parametrize("sensor, per_degree", [(Sensor.PT100_A, 0.002), (Sensor.PT100_B, 0.005)])
    def test_platinum_has_what_the_tolerance_of_its_class_gains_from_zero_to_75(self, sensor, per_degree):
        """IEC 60751: class A 0.15 + 0.002·|t|, class B 0.30 + 0.005·|t| °C."""
        assert ALLOWANCES[sensor] == round(per_degree * STATED_AT)

    @pytest.mark.parametrize("sensor", THERMOCOUPLES)
    def test_a_thermocouple_has_the_proportional_part_of_its_class(self, sensor):
        """IEC 60584-1, from memory: class 1 0.004·|t|, class 2 0.0075·|t|. Rounded up to whole mK."""
        per_degree = Fraction(4, 1_000) if sensor.endswith("_1") else Fraction(75, 10_000)
        assert ALLOWANCES[sensor] == ceil(per_degree * STATED_AT)

    @pytest.mark.parametrize(
        "sensor, half_width",
        [(Sensor.THERMISTOR, 200), (Sensor.UNKNOWN, 500), (Sensor.BIMETAL, 500), (Sensor.LIQUID_IN_GLASS, 500)],
    )
    def test_the_others_have_a_sensible_half_width(self, sensor, half_width):
        """Judgement, no source."""
        assert ALLOWANCES[sensor] == half_width


class TestGrowth:
    @pytest.mark.parametrize(
        "sensor, least, greatest",
        [
            (Sensor.THERMISTOR, 1, 1.62),
            (Sensor.PT100_A, 1, 1.32),
            (Sensor.PT100_B, 1, 1.32),
            (Sensor.THERMOCOUPLE_K_1, -4.24, 1),
            (Sensor.THERMOCOUPLE_K_2, -4.24, 1),
            (Sensor.THERMOCOUPLE_T_1, -4.02, 1),
            (Sensor.THERMOCOUPLE_T_2, -4.02, 1),
            (Sensor.UNKNOWN, -4.24, 1.62),
            (Sensor.BIMETAL, 1, 1),
            (Sensor.LIQUID_IN_GLASS, 1, 1),
        ],
    )
    def test_at_75_for_a_check_at_zero(self, sensor, least, greatest):
        """Beta equation (348.15/273.15)² = 1.6246; IEC 60751 1.319; gain, IEC 60584-1: checked at 15 °C, read at 10 °C, type K
        -(3059 - 397)/597 · 39.45/41.54, type T -(3132 - 391)/589 · 38.75/44.88.
        """
        assert ratios(sensor, 0, 75_000) == pytest.approx((least, greatest), abs=0.01)

    @pytest.mark.parametrize("sensor", list(Sensor))
    def test_it_is_between_the_causes_of_its_sensor_to_3_in_1000(self, sensor):
        """Tabulated every 20 °C, with straight lines between: looked at there and half way, where they are furthest off."""
        bounds = {"rel": 0.01, "abs": 0.03} if sensor in WITH_GAIN else {"rel": 0.003}
        for checked, there in product((-40, -20, -10, 0, 20, 50, 60, 70, 100), range(-60, 261, 10)):
            if sensor in WITH_GAIN and 0 < checked < 60:
                continue
            exact = [far(there) / here(checked) for here, far in SHAPES[sensor]]
            found = ratios(sensor, checked * 1000, there * 1000)
            assert found == pytest.approx((min(exact), max(exact)), **bounds), (checked, there)

    def test_an_aged_thermistor_shrinks_towards_the_cold_and_a_cold_junction_grows(self):
        """(255.15/273.15)² = 0.8725; type T, instrument at 15 and 20 °C: (790 + 683)/589 · 38.75/37.09."""
        assert ratios(Sensor.THERMISTOR, 0, -18_000) == pytest.approx((0.8725, 1), abs=0.001)
        assert ratios(Sensor.THERMOCOUPLE_T_1, 0, -18_000)[1] == pytest.approx(2.613, abs=0.01)

    @pytest.mark.parametrize("sensor", WITH_GAIN)
    def test_near_the_temperature_of_the_room_a_check_does_not_see_a_gain(self, sensor):
        with pytest.raises(ValueError, match="near the temperature of the room"):
            growth(sensor, 20_000, 75_000)
        side = (ErrorAt(at=NOON, temperature=20_000, error=0, expanded=50),)
        assert bounds(Bracket(start=side, end=side, sensor=sensor, resolution=0)).at(75_000) is None
        both = (*side, ErrorAt(at=NOON, temperature=0, error=0, expanded=50))
        known = [bounds(Bracket(start=each, end=each, sensor=sensor, resolution=0)) for each in (both, both[1:])]
        assert known[0] == known[1]

    @given(st.sampled_from([sensor for sensor in Sensor if sensor not in WITH_GAIN]), CHECKED, CHECKED)
    def test_back_again_it_is_the_inverse(self, sensor, one, other):
        (least, greatest), (back_least, back_greatest) = ratios(sensor, one, other), ratios(sensor, other, one)
        assert least * back_greatest == pytest.approx(1) and greatest * back_least == pytest.approx(1)

    def test_a_fault_of_the_leads_lies_between_those_that_are_tabulated(self):
        for t in range(-60, 261, 10):
            ratio = leads_of_platinum(t) / leads_of_platinum(0)
            low, high = ratios(Sensor.PT100_A, 0, t * 1000)
            assert low - 0.003 <= ratio <= high + 0.003

    def test_absolute_zero_is_refused(self):
        with pytest.raises(ValueError, match="absolute zero"):
            growth(Sensor.THERMISTOR, -273_150, 0)


def ratios(sensor: Sensor, checked: int, there: int) -> tuple[float, float]:
    (low, per_low), (high, per_high) = growth(sensor, checked, there)
    return low / per_low, high / per_high


class TestFaultsThatShowAtZero:
    """One fault, an error at zero: what it makes of the error elsewhere must lie within the range."""

    @given(st.floats(-3, 3), st.floats(-40, 120))
    def test_an_aged_thermistor(self, zero_error, truth):
        """Beta equation, R = R25·exp(B·(1/T − 1/298.15)), B 3435 K (a usual one): all resistances grew alike."""
        ageing = 3_435 * (1 / (273.15 + zero_error) - 1 / 273.15)
        shown = 1 / (1 / (273.15 + truth) + ageing / 3_435) - 273.15
        assert_in_range(Sensor.THERMISTOR, zero_error, truth, shown)
        assert_in_range(Sensor.UNKNOWN, zero_error, truth, shown)

    @given(st.sampled_from([Sensor.PT100_A, Sensor.PT100_B]), st.floats(-3, 3), st.floats(0, 120))
    def test_a_platinum_sensor_whose_ice_point_resistance_changed(self, sensor, zero_error, truth):
        """IEC 60751, from 0 °C up."""
        changed = resistance(zero_error) / resistance(0)
        assert_in_range(sensor, zero_error, truth, temperature(resistance(truth) * changed))

    @given(st.sampled_from([Sensor.PT100_A, Sensor.PT100_B]), st.floats(-3, 3), st.floats(0, 120))
    def test_a_platinum_sensor_with_a_resistance_in_its_leads(self, sensor, zero_error, truth):
        added = resistance(zero_error) - resistance(0)
        assert_in_range(sensor, zero_error, truth, temperature(resistance(truth) + added))

    @pytest.mark.parametrize("sensor", THERMOCOUPLES)
    @FOR_EACH
    @given(zero_error=st.floats(-3, 3), truth=st.floats(-60, 200))
    def test_a_cold_junction_offset(self, sensor, zero_error, truth):
        """To first order: the wrong voltage over the sensitivity."""
        shape = cold_junction_t if "_t_" in sensor else cold_junction_k
        assert_in_range(sensor, zero_error, truth, truth + zero_error * shape(truth) / shape(0))

    @given(st.sampled_from(list(Sensor)), st.floats(-3, 3), st.floats(-60, 200))
    def test_electronics_that_are_off_by_the_same_everywhere(self, sensor, zero_error, truth):
        assert_in_range(sensor, zero_error, truth, truth + zero_error)

    @pytest.mark.parametrize("sensor", list(Sensor))
    @pytest.mark.parametrize("error", [-2_000, 2_000])
    @pytest.mark.parametrize("at", [-18_000, 75_000])
    def test_the_range_is_not_wider_than_its_worst_fault_needs(self, sensor, error, at):
        """Without uncertainty: from the least to the greatest growth, with the allowance on both sides."""
        side = (ErrorAt(at=NOON, temperature=0, error=error, expanded=0),)
        low, high = bounds(Bracket(start=side, end=side, sensor=sensor, resolution=0)).at(at)
        exact = -Oracle(side, sensor, -1)(at), Oracle(side, sensor)(at)
        assert (low, high) == pytest.approx(exact, abs=6, rel=0.25 if sensor in EARLY_BENDING else 0.0001)


def assert_in_range(sensor: Sensor, zero_error: float, truth: float, shown: float) -> None:
    error, reading = round(zero_error * 1_000), round(shown * 1_000)
    start, end = ((ErrorAt(at=at, temperature=0, error=error, expanded=1),) for at in (NOON, NOON + timedelta(days=7)))
    coldest, hottest = true_range(reading, bounds(Bracket(start=start, end=end, sensor=sensor, resolution=0)))
    assert coldest - 1 <= truth * 1_000 <= hottest + 1


class TestQuadrature:
    """JCGM 100:2008, 5.1.2: independent parts add as the root of the sum of their squares."""

    def test_a_worked_example(self):
        """Bimetal, no growth: 300 mK found uncertain beside 75/75 of 500 unseen is 583.1, and at 45 °C 424.3."""
        side = (ErrorAt(at=NOON, temperature=0, error=0, expanded=300),)
        known = bounds(Bracket(start=side, end=side, sensor=Sensor.BIMETAL, resolution=0))
        assert known.at(45_000) == (-425, 425)
        assert known.at(75_000) == pytest.approx((-584, 584), abs=2)

    @given(st.sampled_from(list(Sensor)), st.integers(0, 1_500), st.integers(-60_000, 260_000))
    @example(Sensor.THERMOCOUPLE_K_1, 487, 23_549)
    def test_chords_add_less_than_a_tenth_or_3_mk_and_near_25_for_a_thermocouple_a_sixth(self, sensor, expanded, at):
        side = (ErrorAt(at=NOON, temperature=0, error=0, expanded=expanded),)
        bracket = Bracket(start=side, end=side, sensor=sensor, resolution=0)
        high, exact, drawn = bounds(bracket).at(at)[1], Oracle(side, sensor)(at), Oracle(side, sensor, beta=DRAWN)(at)
        assert exact - 4 <= high
        assume(not runs_back(bracket, at))
        share = 0.1 if sensor in EARLY_BENDING | WITH_GAIN else 0.03
        if sensor.startswith("thermocouple") and 18_000 < at < 32_000:
            share = 1 / 6
        assert high <= drawn + max(3, share * drawn) + 4

    @pytest.mark.parametrize("sensor", sorted(EARLY_BENDING))
    def test_between_two_checks_chords_do_not_cut_the_curve_of_moisture(self, sensor):
        """1.0 °C too high in ice and right at boiling: in parallel. Chords of 12 K and more lay 12 mK inside of it."""
        side = tuple(ErrorAt(at=NOON, temperature=t, error=e, expanded=0) for t, e in ((0, 1_000), (98_313, 0)))
        known = bounds(Bracket(start=side, end=side, sensor=sensor, resolution=0))
        least = Oracle(side, sensor, -1)
        assert all(known.at(t)[0] <= -least(t) + 4 for t in range(0, 98_313, 3_000))

    @given(st.sampled_from(PLAIN), st.integers(1, 1_500), st.integers(-60_000, 260_000))
    def test_the_whole_is_less_than_the_sum_and_no_less_than_either(self, sensor, expanded, at):
        side = (ErrorAt(at=NOON, temperature=0, error=0, expanded=expanded),)
        high = bounds(Bracket(start=side, end=side, sensor=sensor, resolution=0)).at(at)[1]
        parts = expanded * ratios(sensor, 0, at)[1], ALLOWANCES[sensor] * abs(at) / STATED_AT
        assert max(parts) - 0.001 <= high <= sum(parts) + 1

    @pytest.mark.parametrize("resolution, half_width", [(100, 82), (556, 456), (1_000, 820), (0, 0)])
    def test_a_reading_has_its_own_rounding_and_scatter(self, resolution, half_width):
        """1.96·√(1/12 + 0.3²) = 0.816 digits; with ±0.3 °C of the check √(300² + 82²) = 311.0 and so on."""
        side = (ErrorAt(at=NOON, temperature=0, error=0, expanded=300),)
        known = bounds(Bracket(start=side, end=side, sensor=Sensor.BIMETAL, resolution=resolution))
        assert known.at(0)[1] == ceil(hypot(300, half_width))

    def test_a_step_below_zero_is_refused(self):
        side = (ErrorAt(at=NOON, temperature=0, error=0, expanded=300),)
        with pytest.raises(ValueError, match="zero or more"):
            bounds(Bracket(start=side, end=side, sensor=Sensor.BIMETAL, resolution=-1))


def test_the_reference_functions_give_the_published_voltages():
    """IEC 60584-1, reference tables: 4.096 mV (K) and 4.279 mV (T) at 100 °C, -3.554 and -3.379 mV at -100 °C (from memory)."""
    assert round(emf_k(100) / 1000, 3) == 4.096 and round(emf_t(100) / 1000, 3) == 4.279
    assert round(emf_k(-100) / 1000, 3) == -3.554 and round(emf_t(-100) / 1000, 3) == -3.379


def thermistor_series(beta: float):
    """A resistance in series: the error is −T²/B · r/R(T), and R falls steeply with T."""
    return lambda t: -((t + 273.15) ** 2) * exp(-beta / (t + 273.15))


def thermistor_parallel(beta: float):
    """A resistance in parallel: the error is T²/B · R(T)/p, and R rises steeply towards the cold."""
    return lambda t: ((t + 273.15) ** 2) * exp(beta / (t + 273.15) - beta / 273.15)


# One fault each: what it makes of the error, up to a factor.
FAULTS = {
    "thermistor, aged resistance": (Sensor.THERMISTOR, aged_thermistor),
    "thermistor, in series, B 3000": (Sensor.THERMISTOR, thermistor_series(3000)),
    "thermistor, in series, B 3435": (Sensor.THERMISTOR, thermistor_series(3435)),
    "thermistor, in series, B 4200": (Sensor.THERMISTOR, thermistor_series(4200)),
    "thermistor, in parallel, B 3000": (Sensor.THERMISTOR, thermistor_parallel(3000)),
    "thermistor, in parallel, B 4200": (Sensor.THERMISTOR, thermistor_parallel(4200)),
    "platinum, leak": (Sensor.PT100_A, leaking_platinum),
    "platinum, resistance at zero": (Sensor.PT100_A, aged_platinum),
    "platinum, leads": (Sensor.PT100_A, leads_of_platinum),
    "type K, cold junction": (Sensor.THERMOCOUPLE_K_1, cold_junction_k),
    "type K, gain": (Sensor.THERMOCOUPLE_K_1, gain(emf_k, cold_junction_k, 22)),
    "type T, cold junction": (Sensor.THERMOCOUPLE_T_1, cold_junction_t),
    "type T, gain": (Sensor.THERMOCOUPLE_T_1, gain(emf_t, cold_junction_t, 22)),
}
# Of these the sign of the error in ice, over that of the shape.
ONE_SIGN = {name: 1 for name in FAULTS if "series" in name or "parallel" in name} | {"platinum, leak": -1}


class TestBetweenTwoCheckedTemperatures:
    @pytest.mark.parametrize("fault", FAULTS)
    @FOR_EACH
    @example(size=3.0, cold=0.0, apart=20.0, where=0.5)
    @given(size=st.floats(-3, 3), cold=st.floats(0, 60), apart=st.floats(20, 120), where=st.floats(0, 1))
    def test_one_fault_lies_along_the_line_and_within_the_bend(self, fault, size, cold, apart, where):
        """The fault makes an error of up to 3 °C at the hotter check or the colder, whichever is larger."""
        sensor, shape = FAULTS[fault]
        if fault in ONE_SIGN:
            size = ONE_SIGN[fault] * abs(size)
        if sensor in WITH_GAIN:  # not checked near the temperature of the room
            cold, apart = 0.0, max(apart, 51.0)
        hot, truth = cold + apart, cold + apart * where
        scale = size / max(abs(shape(cold)), abs(shape(hot)))
        points = [(round(t * 1_000), round(scale * shape(t) * 1_000)) for t in (cold, hot)]
        side = tuple(ErrorAt(at=NOON, temperature=t, error=e, expanded=1) for t, e in points)
        low, high = bounds(Bracket(start=side, end=side, sensor=sensor, resolution=0)).at(round(truth * 1_000))
        error = scale * shape(truth) * 1_000
        flat = min(8 * where, 8 * (1 - where), 1) * unseen_between(sensor, round(apart * 1_000))
        flat = 0 if sensor in EARLY_BENDING else flat  # the check in ice alone may say more
        assert low + flat - 6 <= error <= high - flat + 6  # what no check sees has its own share

    @pytest.mark.parametrize("fault", FAULTS)
    @pytest.mark.parametrize("cold, hot", [(0, 10), (0, 40), (0, 100), (20, 60), (0, 150)])
    def test_the_bend_holds_the_fault_without_the_help_of_what_no_check_sees(self, fault, cold, hot):
        """3 °C at the colder or the hotter, the fault alone: its distance from the line against the bend."""
        sensor, shape = FAULTS[fault]
        scale = 3_000 / max(abs(shape(cold)), abs(shape(hot)))
        ends = [scale * shape(t) for t in (cold, hot)]
        up = bend(sensor, 3_000, round(ends[0] - ends[1]), (hot - cold) * 1_000)
        for share in (0.25, 0.5, 0.75):
            off = scale * shape(cold + (hot - cold) * share) - (ends[0] + (ends[1] - ends[0]) * share)
            differ, lags = abs(ends[0] - ends[1]), off * (ends[1] - ends[0]) < 0
            late = differ * min(share if lags else 1 - share, 0.5) if sensor is Sensor.THERMISTOR else 0
            assert abs(off) <= up + late + 1

    def test_the_bend_is_not_much_more_than_a_late_rise_needs(self):
        """B 4200, from 0 to 100 °C: half way the error lies 0.38 of the rise below the line; the bound lets it to 0.5."""
        shape = thermistor_series(4200)
        straight = (shape(0) + shape(100)) / 2
        assert (straight - shape(50)) / (shape(100) - shape(0)) == pytest.approx(0.376, abs=0.001)

    @pytest.mark.parametrize("sensor", list(Sensor))
    def test_what_no_check_sees_never_rises_faster_than_the_allowance_of_one_check(self, sensor):
        """The first eighth of the way, 12.5 K of 100."""
        assert unseen_between(sensor, 100_000) / 12.5 <= ALLOWANCES[sensor] / 75 + 0.1

    @pytest.mark.parametrize("sensor", THERMOCOUPLES)
    def test_a_gain_bends_in_proportion_to_what_it_makes_the_errors_differ(self, sensor):
        """Twice the difference, twice the bend; half as far apart with the same difference, half of it."""
        over, twice, nearer = (
            bend(sensor, 0, d, apart) for d, apart in ((800, 100_000), (1_600, 100_000), (800, 50_000))
        )
        assert (twice, nearer) == (2 * over, over / 2) and over > 0

    @pytest.mark.parametrize("apart", [0, FARTHEST_APART + 1])
    def test_too_far_apart_is_refused(self, apart):
        with pytest.raises(ValueError, match="up to 150 K apart"):
            bend(Sensor.THERMISTOR, 0, 0, apart)


class TestCheckedFarFromZero:
    @given(st.floats(-3, 3), st.floats(-40, 100), st.floats(-40, 120))
    def test_an_aged_thermistor_checked_at_any_temperature(self, error, checked, truth):
        """The error grows with the square of the absolute temperature, from wherever it was checked."""
        side = (ErrorAt(at=NOON, temperature=round(checked * 1_000), error=round(error * 1_000), expanded=1),)
        low, high = bounds(Bracket(start=side, end=side, sensor=Sensor.THERMISTOR, resolution=0)).at(
            round(truth * 1_000)
        )
        grown = error * ((truth + 273.15) / (checked + 273.15)) ** 2
        assert low - 1 <= grown * 1_000 <= high + 1

    def test_a_check_in_the_cold_leaves_more_to_grow_and_one_in_the_heat_less(self):
        """(348.15/233.15)² = 2.2298 and (348.15/333.15)² = 1.0921."""
        assert ratios(Sensor.THERMISTOR, -40_000, 75_000)[1] == pytest.approx(2.2298, rel=0.003)
        assert ratios(Sensor.THERMISTOR, 60_000, 75_000)[1] == pytest.approx(1.0921, rel=0.003)
