"""Time at temperature: against what authorities publish, and against numerical integration."""

from math import ceil, log, log10

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.metrology.lethality import (
    COLDEST,
    HOTTEST,
    Z_GREATEST,
    Z_LEAST,
    Demand,
    demand,
    equivalent_time,
    is_traded,
    lethality,
    temperature_needed,
)

degrees = st.floats(COLDEST, HOTTEST)
times = st.floats(1, 86_400)
zs = st.floats(3, 15)

# UK Food Standards Agency, equivalents of 70 °C for 2 minutes (seen): °C, s.
FSA = {60: 45 * 60, 65: 10 * 60, 70: 2 * 60, 75: 30, 80: 6}
# The unit that the row comes out in when z = 7.5 is rounded up (computed): s.
FSA_ROUNDED_TO = {60: 300, 65: 60, 70: 60, 75: 10, 80: 1}

# Food Code 2022, 3-401.11(B), whole roasts (seen): °F, s.
ROASTS = ((130, 6_720), (140, 720), (145, 240), (149, 85), (155, 22))
# Food Code 2022, 3-401.11(A)(2), minced meat (seen): °F, s.
MINCED = ((145, 180), (150, 60), (155, 17))
# USDA-FSIS Appendix A, beef, 6.5-log (seen): °F, s. Not for poultry.
APPENDIX_A = ((130, 6_720), (140, 720), (150, 67))
# °C. z by which the Food Standards Agency's row comes out once it is rounded up (computed); the ACMSF's own.
Z_FSA, Z_ACMSF = 7.5, 6.0

ROWS = {
    "FSA": tuple((float(t), s) for t, s in FSA.items()),
    "roasts": tuple(((f - 32) * 5 / 9, s) for f, s in ROASTS),
    "minced": tuple(((f - 32) * 5 / 9, s) for f, s in MINCED),
    "Appendix A": tuple(((f - 32) * 5 / 9, s) for f, s in APPENDIX_A),
}


class TestPublishedEquivalents:
    @pytest.mark.parametrize("celsius", FSA)
    def test_the_row_of_the_food_standards_agency(self, celsius):
        """z = 7.5 rounded up, to 5 min, 1 min, 10 s, 1 s as the row has it. Seen; that z gives it is computed."""
        exact = equivalent_time(celsius, 70, 120, Z_FSA)
        unit = FSA_ROUNDED_TO[celsius]
        assert ceil(round(exact / unit, 6)) * unit == FSA[celsius]

    @pytest.mark.parametrize("celsius, minutes", [(65, 13.6), (75, 0.295)])
    def test_the_advisory_committee_of_2007(self, celsius, minutes):
        """ACMSF, z = 6: 65 °C 13.6 min, 75 °C 18 s (seen)."""
        assert equivalent_time(celsius, 70, 120, Z_ACMSF) / 60 == pytest.approx(minutes, abs=0.05)
        assert round(equivalent_time(75, 70, 120, Z_ACMSF)) == 18

    @pytest.mark.parametrize("one, other", [((130, 6_720), (140, 720)), ((140, 720), (150, 67))])
    def test_appendix_a_has_a_z_of_about_ten_fahrenheit(self, one, other):
        """USDA-FSIS Appendix A: 130 °F 112 min, 140 °F 12 min, 150 °F 67 s (seen); z about 10 °F."""
        z = (other[0] - one[0]) / log10(one[1] / other[1])
        assert z == pytest.approx(10, abs=0.35)

    def test_a_ramp_at_one_degree_a_minute(self):
        """60 to 75 °C, z 7.5: 14.968 min at 70 °C by trapezoids of the lethal rate, 5 s wide (computed).

        The integral is z/ln 10 · (10^(5/z) − 10^(−10/z)) = 14.96744 min: trapezoids of a convex rate say a little much.
        """
        rates = [10 ** ((60 + second / 60 - 70) / Z_FSA) for second in range(0, 901, 5)]
        trapezoids = 5 * (sum(rates) - (rates[0] + rates[-1]) / 2)
        assert round(trapezoids / 60, 3) == 14.968
        exact = Z_FSA / log(10) * (10 ** (5 / Z_FSA) - 10 ** (-10 / Z_FSA))
        assert lethality([(0, 60), (900, 75)], z=Z_FSA) / 60 == pytest.approx(exact, rel=1e-12)
        assert lethality([(0, 60), (900, 75)], z=Z_FSA) / 60 == pytest.approx(14.968, abs=0.001)

    def test_many_points_of_one_ramp_come_to_the_same(self):
        points = [(60 * minute, 60 + minute) for minute in range(16)]
        assert lethality(points, z=Z_FSA) == pytest.approx(lethality([points[0], points[-1]], z=Z_FSA), rel=1e-12)


class TestLethality:
    @given(degrees, times, zs, degrees)
    def test_a_steady_temperature_is_worth_its_equivalent_time(self, temperature, time, z, reference):
        worth = lethality([(0, temperature), (time, temperature)], reference=reference, z=z)
        assert worth == pytest.approx(time * 10 ** ((temperature - reference) / z))

    @given(st.lists(st.tuples(st.floats(1, 600), st.floats(20, 90)), min_size=1, max_size=6), st.floats(20, 90), zs)
    def test_agrees_with_a_fine_sum(self, steps, first, z):
        """Two thousand slices of each stretch, each at its middle; colder than 54 °C counts for nothing."""
        trace, expected = [(0.0, first)], 0.0
        for seconds, temperature in steps:
            (at, before) = trace[-1]
            trace.append((at + seconds, temperature))
            for slice_ in range(2_000):
                t = before + (temperature - before) * (slice_ + 0.5) / 2_000
                expected += seconds / 2_000 * 10 ** ((t - 70) / z) if t >= COLDEST else 0
        edge = sum(s for s, _ in steps) / 2_000 * 10 ** ((COLDEST - 70) / z) * 2
        assert lethality(trace, z=z) == pytest.approx(expected, rel=1e-4, abs=edge)

    @given(degrees, times, zs)
    def test_more_time_is_never_worth_less(self, temperature, time, z):
        assert lethality([(0, temperature), (time, temperature), (time + 1, 20)], z=z) >= lethality(
            [(0, temperature), (time, temperature)], z=z
        )

    @pytest.mark.parametrize(
        "trace, words",
        [
            ([(0, 70)], "two temperatures"),
            ([(0, 70), (0, 70)], "must rise"),
            ([(0, 70), (10, 91)], "beyond what equivalents"),
            ([(0, float("nan")), (10, 70)], "beyond what equivalents"),
        ],
    )
    def test_what_is_no_trace_is_refused(self, trace, words):
        with pytest.raises(ValueError, match=words):
            lethality(trace, z=7.5)


class TestTemperatureNeeded:
    @given(degrees, times, times, zs)
    def test_it_is_the_inverse_of_the_equivalent_time(self, limit, required, given_time, z):
        needed = temperature_needed(limit, required, given_time, z)
        assert required * 10 ** ((limit - needed) / z) == pytest.approx(given_time)

    def test_ten_times_as_long_may_be_z_colder(self):
        assert temperature_needed(75, 30, 300, 7.5) == pytest.approx(67.5)
        assert temperature_needed(75, 30, 3, 7.5) == pytest.approx(82.5)

    @pytest.mark.parametrize(
        "call, words",
        [
            (lambda: temperature_needed(53.9, 30, 30, 7), "54 to 90"),
            (lambda: temperature_needed(90.1, 30, 30, 7), "54 to 90"),
            (lambda: temperature_needed(75, 0, 30, 7), "at most a week"),
            (lambda: temperature_needed(75, 30, 604_801, 7), "at most a week"),
            (lambda: temperature_needed(75, 30, 30, 2.9), "between 3 and 15"),
            (lambda: temperature_needed(75, 30, 30, 15.1), "between 3 and 15"),
            (lambda: equivalent_time(50, 70, 30, 7), "54 to 90"),
            (lambda: equivalent_time(70, 95, 30, 7), "54 to 90"),
            (lambda: equivalent_time(70, 70, -1, 7), "at most a week"),
            (lambda: equivalent_time(70, 70, 1, 20), "between 3 and 15"),
            (lambda: lethality([(0, 70), (1, 70)], reference=50, z=7), "54 to 90"),
            (lambda: lethality([(0, 70), (1, 70)], z=2), "between 3 and 15"),
            (lambda: demand(53_999, 30, 30), "54 to 90"),
            (lambda: demand(53_999, 30, 0), "54 to 90"),
            (lambda: demand(75_000, 0, 0), "at most a week"),
            (lambda: demand(75_000, 30, -1), "at most a week"),
        ],
    )
    def test_outside_what_is_known_it_refuses(self, call, words):
        with pytest.raises(ValueError, match=words):
            call()


milli = st.integers(54_000, 90_000)
whole = st.integers(1, 7_200)


class TestDemand:
    def test_worked_examples(self):
        """75 °C for 30 s. Held 2 min: 75 − 4.8 · log 4 = 72.111; surely broken below 75 − 10 · log 4 = 68.979.

        Held 6 s: 75 + 10 · log 5 = 81.990; surely broken below 75 + 4.8 · log 5 = 78.355.
        """
        assert demand(75_000, 30, 120) == Demand(72_111, 68_979)
        assert demand(75_000, 30, 6) == Demand(81_990, 78_355)
        assert demand(75_000, 30, 30) == Demand(75_000, 75_000)
        assert demand(75_000, 30, 0) == Demand(None, 75_000)

    def test_nothing_is_carried_below_60_unless_the_limit_is(self):
        """The last row of the Food Standards Agency is 60 °C; the roast at 130 °F has its own figure, and no lower one."""
        assert demand(63_000, 15, 3_600).kept == 60_000
        assert demand(54_444, 6_720, 604_800).kept == 54_444
        assert demand(75_000, 30, 604_800).missed == 54_000

    def test_nothing_is_made_up_above_90(self):
        assert demand(85_000, 600, 190).kept == 89_994
        assert demand(85_000, 600, 189).kept is None
        assert demand(90_000, 3_600, 1).missed == 90_000

    @pytest.mark.parametrize("row", ROWS)
    def test_it_is_never_less_strict_than_a_published_row(self, row):
        """From each pair of a row to each other one: what surely keeps the limit is at least as hot as the row says."""
        for limit, required in ROWS[row]:
            for celsius, held in ROWS[row]:
                found = demand(round(limit * 1_000), required, held)
                assert found.kept is None or found.kept >= celsius * 1_000 - 1

    @pytest.mark.parametrize("row", ROWS)
    def test_nor_is_food_called_surely_broken_that_a_published_row_accepts(self, row):
        for limit, required in ROWS[row]:
            for celsius, held in ROWS[row]:
                assert demand(round(limit * 1_000), required, held).missed <= celsius * 1_000 + 1

    @given(milli, whole, st.integers(1, 604_800))
    def test_what_keeps_is_never_below_what_breaks(self, limit, required, held):
        found = demand(limit, required, held)
        assert found.kept is None or found.kept >= found.missed

    @given(milli, whole, st.integers(0, 7_200), st.integers(0, 7_200))
    def test_longer_is_never_asked_to_be_hotter(self, limit, required, one, other):
        short, long = (demand(limit, required, held) for held in sorted((one, other)))
        assert short.kept is None or (long.kept is not None and long.kept <= short.kept)
        assert long.missed <= short.missed or min(one, other) == 0

    @given(milli, whole, st.integers(1, 7_200))
    def test_it_is_the_textbook_formula_with_the_z_that_is_safe(self, limit, required, held):
        shift = 1_000 * log(required / held) / log(10)
        found = demand(limit, required, held)
        lowest, highest = sorted((Z_LEAST * shift, Z_GREATEST * shift))
        if found.kept is not None:
            floor_ = min(limit, 60_000)
            assert found.kept == pytest.approx(max(limit + highest, floor_), abs=1.001)
        assert found.missed == pytest.approx(min(max(limit + lowest, 54_000), 90_000), abs=1.001)


@pytest.mark.parametrize(
    "at_least, limit, held, traded",
    [
        (True, 75_000, 30, True),
        (True, 54_000, 1, True),
        (True, 90_000, 1, True),
        (True, 53_999, 30, False),
        (True, 90_001, 30, False),
        (True, 75_000, None, False),
        (True, 75_000, 0, False),
        (False, 75_000, 30, False),
    ],
)
def test_only_heating_for_a_time_is_traded(at_least, limit, held, traded):
    assert is_traded(at_least, limit, held) is traded
