"""What readings could really have been: against simulated drifts and exact fractions."""

from datetime import UTC, datetime, timedelta
from fractions import Fraction
from itertools import pairwise
from math import ceil, floor

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from compliance.metrology.allowances import ALLOWANCES, CURVATURES, EARLY_BENDING, LATE_BENDING, STEEPENINGS
from compliance.metrology.assessment import (
    Bracket,
    ErrorBounds,
    bounds,
    classify,
    likely,
    telling,
    true_range,
)
from compliance.metrology.error_bounds import ErrorAt
from compliance.metrology.sensor_faults import FAULTS, WITH_GAIN
from compliance.metrology.vocabulary import Direction, Outcome, Sensor

from .envelope_oracle import DRAWN, Oracle, highest_and_lowest, runs_back, spread

NOON = datetime(2031, 5, 1, 12, tzinfo=UTC)
WEEK = timedelta(days=7)

temperatures = st.integers(-60_000, 260_000)
errors = st.integers(-5_000, 5_000)
half_widths = st.integers(0, 1_500)
sensors = st.sampled_from(list(Sensor))
directions = st.sampled_from(list(Direction))


def error_at(error: int, expanded: int = 0, temperature: int = 0, at: datetime = NOON) -> ErrorAt:
    return ErrorAt(at=at, temperature=temperature, error=error, expanded=expanded)


def week(first: int, last: int, expanded: int = 0, sensor: Sensor = Sensor.THERMISTOR, temperature: int = 0) -> Bracket:
    start, end = error_at(first, expanded, temperature), error_at(last, expanded, temperature, NOON + WEEK)
    return Bracket(start=(start,), end=(end,), sensor=sensor, resolution=0)


PLACES = st.sampled_from([0, 98_313, 60_000, -18_000, 120_000, 235_000])
PLACES_OF_A_SIDE = st.lists(PLACES, min_size=1, max_size=3)


@st.composite
def sides(draw: st.DrawFn, at: datetime) -> tuple[ErrorAt, ...]:
    """Checked at one to three temperatures: zero, boiling, a certificate anywhere."""
    places = dict.fromkeys(draw(PLACES_OF_A_SIDE))
    return tuple(error_at(draw(errors), draw(half_widths), place, at) for place in places)


brackets = st.builds(
    lambda start, end, sensor: Bracket(start=start, end=end, sensor=sensor, resolution=0),
    sides(NOON),
    sides(NOON + WEEK),
    sensors,
)
error_bounds = brackets.map(bounds)


def chords(bracket: Bracket, temperature: float) -> float:
    """What straight lines between knots may add: 3 mK or 3 in 100 of a half-width, and rounding. A tenth, and of the error too,
    where a gain or a resistance beside a thermistor bends more."""
    points = (*bracket.start, *bracket.end)
    widest = max(spread(point, bracket, temperature) for point in points)
    if bracket.sensor in EARLY_BENDING | WITH_GAIN:
        return 5 + 0.1 * max(widest, *(abs(point.error) + point.expanded for point in points)) + ROUNDED
    return 5 + 0.03 * widest + ROUNDED


# mK. Sensitivities are stored to 0.01 µV/K.
ROUNDED = 3.5


class TestAgainstThePhysics:
    @given(brackets, temperatures)
    def test_the_bounds_are_never_inside_those_of_the_oracle_and_hardly_outside(self, bracket, temperature):
        found = bounds(bracket).at(temperature)
        assume(found is not None)
        low, high = highest_and_lowest(bracket, temperature)
        rounded = ROUNDED + max(abs(low), abs(high)) / 5000
        assert found[0] <= low + rounded and high - rounded <= found[1]
        assume(tells_by_itself(bracket, temperature))
        low, high = highest_and_lowest(bracket, temperature, DRAWN)
        assert low - chords(bracket, temperature) <= found[0]
        assert found[1] <= high + chords(bracket, temperature)

    @given(brackets, temperatures, directions, st.integers(-3, 3))
    def test_the_outcome_is_that_of_all_errors_that_are_possible_at_the_limit(self, bracket, limit, direction, near):
        """Tried at readings about each edge. A truth on the safe side shows more, or less, than one at the limit."""
        known = bounds(bracket)
        assume(known.highs)
        low, high = highest_and_lowest(bracket, limit)
        least, most = highest_and_lowest(bracket, limit, DRAWN)
        more = chords(bracket, limit) if tells_by_itself(bracket, limit) else 10_000_000
        for edge in (low, high):
            value = limit + floor(edge) + near
            outcome = classify(value, limit, direction, known)
            if direction is Direction.AT_LEAST:
                assert outcome is not Outcome.HELD or value >= limit + high - ROUNDED
                assert outcome is not Outcome.BROKEN or value < limit + low + ROUNDED
                assert outcome is Outcome.HELD or value < limit + most + more
                assert outcome is Outcome.BROKEN or value >= limit + least - more
            else:
                assert outcome is not Outcome.HELD or value <= limit + low + ROUNDED
                assert outcome is not Outcome.BROKEN or value > limit + high - ROUNDED
                assert outcome is Outcome.HELD or value > limit + least - more
                assert outcome is Outcome.BROKEN or value <= limit + most + more


def tells_by_itself(bracket: Bracket, temperature: float) -> bool:
    """Away from where two bounds cross, which a chord cuts short: half way between checks far apart, and beyond two checks; and
    from where a bound is raised to keep rising."""
    for side in (bracket.start, bracket.end):
        places = sorted(point.temperature for point in side)
        beyond = len(side) > 1 and not places[0] <= temperature <= places[-1]
        far = any(a < temperature < b and b - a > 150_000 for a, b in pairwise(places))
        bends = len(side) > 1 and bracket.sensor in EARLY_BENDING | WITH_GAIN
        if beyond or far or bends or is_steep(side):
            return False
    return not runs_back(bracket, temperature)


def is_steep(side: tuple[ErrorAt, ...]) -> bool:
    """Whether a bound may be raised, to keep rising, where it bends back to a check."""
    return any(abs(a.error - b.error) > abs(a.temperature - b.temperature) / 10 for a in side for b in side)


def is_raised(known: ErrorBounds) -> bool:
    """Whether a bound changes as fast as the temperature: there it is raised to keep rising, and its mirror need not be."""
    steps = (step for line in (*known.highs, *known.lows) for step in pairwise(line.knots))
    return any(abs(e1 - e0) >= t1 - t0 - 1 for (t0, e0), (t1, e1) in steps)


class TestTheTruthLiesInTheRange:
    """A probe is simulated: what it was worth is known, what it reads follows, and the range must hold the truth."""

    @given(brackets, temperatures, st.floats(0, 1), st.floats(0, 1))
    def test_for_any_drift_in_one_direction(self, bracket, truth, share, moment):
        """At each end the error lies anywhere between its bounds, and in between it drifts from the one to the other."""
        known = bounds(bracket)
        assume(known.highs)
        ends = []
        for side, part in ((bracket.start, share), (bracket.end, 1 - share)):
            low, high = (sign * Oracle(side, bracket.sensor, sign)(truth) for sign in (-1, 1))
            ends.append(low + part * (high - low))
        reading = truth + ends[0] + (ends[1] - ends[0]) * moment
        assert true_range(floor(reading - ROUNDED), known)[0] <= truth + 1
        assert true_range(ceil(reading + ROUNDED), known)[1] >= truth - 1

    @given(brackets, temperatures)
    def test_and_its_ends_are_truths_that_could_show_this(self, bracket, reading):
        """At the coldest truth even the greatest error shows no more, and a few milli-degrees up it shows more."""
        known = bounds(bracket)
        assume(known.highs)
        coldest, hottest = true_range(reading, known)
        assert coldest + known.at(coldest)[1] <= reading + 1
        assert hottest + known.at(hottest)[0] >= reading - 1
        assert coldest + 1 + known.at(coldest + 1)[1] >= reading
        assert hottest - 1 + known.at(hottest - 1)[0] <= reading

    @given(brackets, temperatures, st.integers(0, 10**6))
    def test_the_likely_value_of_a_probe_checked_at_zero_only_lies_in_the_range(self, bracket, reading, tick):
        """The likely error stays as it was found, which is one end of every growth."""
        zero = Bracket(start=bracket.start[:1], end=bracket.end[:1], sensor=bracket.sensor, resolution=0)
        known = bounds(zero)
        assume(known.highs)
        at = NOON + WEEK * tick / 10**6
        coldest, hottest = true_range(reading, known)
        assert coldest <= likely(reading, at, zero) <= hottest

    def test_a_worked_example(self):
        """Pt100 B, +0.3 °C then +1.4 °C at zero, each known to 0.12 °C: at 5 °C the error was 0.177 to 1.556 °C.

        By hand: at 5 °C it is 1 to 1.0211 times that at zero (IEC 60751), and 375 mK · 5/75 = 25 unseen. Least 300 −
        √(120² + 25²) = 177.4. Greatest, at the knots 3 and 7 °C: 1417.71 + √(121.52² + 15²) = 1540.2 and 1441.33 +
        √(123.54² + 35²) = 1569.7, rounded up, and half way between 1555.5.
        """
        known = bounds(week(300, 1_400, 120, Sensor.PT100_B))
        assert known.at(5_000) == (177, 1_556)
        assert [classify(v, 5_000, Direction.AT_MOST, known) for v in (5_177, 5_178, 6_556, 6_557)] == [
            Outcome.HELD,
            Outcome.UNDECIDED,
            Outcome.UNDECIDED,
            Outcome.BROKEN,
        ]
        assert [classify(v, 5_000, Direction.AT_LEAST, known) for v in (5_176, 5_177, 6_555, 6_556)] == [
            Outcome.BROKEN,
            Outcome.UNDECIDED,
            Outcome.UNDECIDED,
            Outcome.HELD,
        ]


def with_boiling(zero: int, boiling: int, expanded: int = 50, sensor: Sensor = Sensor.THERMISTOR) -> Bracket:
    both = [(error_at(zero, expanded, 0, at), error_at(boiling, expanded, 100_000, at)) for at in (NOON, NOON + WEEK)]
    return Bracket(start=both[0], end=both[1], sensor=sensor, resolution=0)


class TestABoilingCheck:
    @pytest.mark.parametrize("sensor", list(Sensor))
    def test_where_it_agrees_it_narrows_the_error_far_from_zero(self, sensor):
        alone = bounds(week(0, 0, 50, sensor)).at(75_000)
        both = bounds(with_boiling(0, 0, 50, sensor)).at(75_000)
        assert both[1] - both[0] < (alone[1] - alone[0]) * 0.6

    def test_a_worked_example(self):
        """Pt100 B, +0.1 and +0.3 °C, each ±0.05: half way the line gives 0.2 ± 0.05 °C.

        By hand: unseen 375/6, rounded up 63, and √(50² + 63²) = 80.4; 3 % of 350 is 10.5, rounded up 11.
        """
        assert bounds(with_boiling(100, 300, sensor=Sensor.PT100_B)).at(50_000) == (108, 292)

    def test_beside_a_thermistor_each_of_two_checks_bounds_the_other(self):
        """+0.1 and +0.3 °C, each ±0.05, at 50 °C. A late or early rise may lie off the line by half of 300 mK; each check alone
        says more.

        By hand: at most what ageing makes of ice, (323.15/273.15)² = 1.3996: 140.0 + √(70.0² + 133.3²) = 290.6. At least what it
        makes of steam, (323.15/373.15)² = 0.7500: 225.0 - √(37.5² + 133.3²) = 86.5.
        """
        assert bounds(with_boiling(100, 300)).at(50_000) == (86, 291)

    @pytest.mark.parametrize("sensor", list(Sensor))
    @pytest.mark.parametrize("sign", [1, -1])
    def test_where_it_finds_more_than_the_check_at_zero_allows_it_is_believed(self, sensor, sign):
        """+0.1 °C in ice and +2.4 in steam: a fault outside the catalogue, so at 63 °C the error may lie on the line, 1.55 °C."""
        low, high = bounds(with_boiling(sign * 100, sign * 2_400, sensor=sensor)).at(63_000)
        assert low <= sign * 1_549 <= high

    @given(sensors, errors, st.integers(-1000, 1000), st.integers(0, 300), st.integers(0, 100_000))
    def test_where_it_agrees_the_error_lies_on_the_line_but_for_the_bend(
        self, sensor, zero, share, expanded, temperature
    ):
        """The error at 100 °C lies within what the check at zero allows there, so the line does all the way."""
        alone = bounds(week(zero, zero, expanded, sensor))
        (cold_low, cold_high), (low, high) = alone.at(0), alone.at(100_000)
        boiling = (low + high) // 2 + (high - low - 2 * expanded) * share // 2000
        assume(low + expanded <= boiling <= high - expanded)
        after = bounds(with_boiling(zero, boiling, expanded, sensor)).at(temperature)
        largest, differ = max(abs(e) + expanded for e in (zero, boiling)), abs(boiling - zero) + 2 * expanded
        bend = ALLOWANCES[sensor] / 6 + (CURVATURES[sensor] * largest + STEEPENINGS.get(sensor, 0) * differ) / 100 + 4
        late = differ / 2 if sensor in LATE_BENDING else 0
        bend += differ / 20 if sensor in WITH_GAIN else 0  # 5 K of the instrument's own warmth, along 100 K
        part = temperature / 100_000
        assert after[0] >= cold_low + (low - cold_low) * part - bend - late
        assert after[1] <= cold_high + (high - cold_high) * part + bend + late

    def test_a_check_far_from_zero_counts_at_its_own_temperature(self):
        """A certificate at 60 °C alone: narrowest there, and zero is 60 K away."""
        known = bounds(week(0, 0, 30, Sensor.PT100_A, temperature=60_000))
        assert known.at(60_000) == (-30, 30)
        assert known.at(0) == (-124, 124)  # √(30² + 120²), no growth towards the cold
        assert known.at(75_000) == pytest.approx(
            (-45, 44), abs=1
        )  # √(31.6² + 30²), 1.319/1.253 at 75 against 60 °C; leak 1.098

    def test_a_slope_that_two_checks_show_goes_on_beyond_them(self):
        """2 °C more over 100 K: 20 K beyond it may be 0.4 °C more again; the allowance alone would be 0.385."""
        assert bounds(with_boiling(0, 2_000, 0)).at(120_000)[1] >= 2_400

    def test_temperatures_more_than_150_k_apart_bind_nothing_between_them(self):
        points = tuple(error_at(0, 0, t, NOON) for t in (0, 200_000))
        known = bounds(Bracket(start=points, end=points, sensor=Sensor.THERMISTOR, resolution=0))
        assert known.at(100_000) == (-267, 267)

    def test_three_temperatures_bind_piece_by_piece(self):
        points = tuple(error_at(e, 0, t, NOON) for t, e in ((0, 0), (60_000, 300), (100_000, 0)))
        known = bounds(Bracket(start=points, end=points, sensor=Sensor.PT100_A, resolution=0))
        assert [known.at(t) for t in (0, 60_000, 100_000)] == [(0, 0), (300, 300), (0, 0)]

    def test_the_order_of_the_points_of_a_side_does_not_matter(self):
        points = tuple(error_at(e, 20, t, NOON) for t, e in ((0, 0), (60_000, 300), (100_000, 0)))
        both = [bounds(Bracket(start=p, end=p, sensor=Sensor.BIMETAL, resolution=0)) for p in (points, points[::-1])]
        assert both[0] == both[1]


class TestUnbounded:
    @pytest.mark.parametrize("start, end", [((), ()), ((error_at(100),), ()), ((), (error_at(100),))])
    def test_a_side_without_a_check_bounds_nothing(self, start, end):
        known = bounds(Bracket(start=start, end=end, sensor=Sensor.THERMISTOR, resolution=0))
        assert known == ErrorBounds()
        assert known.at(0) is None and true_range(4_000, known) is None
        assert {classify(4_000, 90_000, direction, known) for direction in Direction} == {Outcome.UNDECIDED}

    def test_a_display_that_may_stand_still_tells_only_what_it_can(self):
        """A thermistor that reads 30 °C too low in ice: with a resistance in series of 3.5 times its own (B 3000) or 6.8 times
        (B 4500) a display hardly moves above that. The least that a hot truth shows bounds no truth from above; the most does.
        """
        known = bounds(week(0, -30_000))
        coldest, hottest = true_range(-10_000, known)
        assert hottest > 400_000 and -10_100 < coldest < -9_900
        assert classify(-10_000, 8_000, Direction.AT_MOST, known) is Outcome.UNDECIDED
        assert classify(75_300, 75_000, Direction.AT_LEAST, known) is Outcome.HELD


class TestRefusals:
    @pytest.mark.parametrize("side", ["start", "end"])
    def test_a_negative_uncertainty_is_refused(self, side):
        checks = {"start": (error_at(0),), "end": (error_at(0, at=NOON + WEEK),), side: (error_at(0, expanded=-1),)}
        with pytest.raises(ValueError, match="zero or more, in mK"):
            bounds(Bracket(**checks, sensor=Sensor.THERMISTOR, resolution=0))

    def test_one_temperature_twice_is_refused(self):
        with pytest.raises(ValueError, match="given twice for one side"):
            bounds(
                Bracket(start=(error_at(0), error_at(1)), end=(error_at(0),), sensor=Sensor.THERMISTOR, resolution=0)
            )

    def test_checks_in_the_wrong_order_are_refused(self):
        with pytest.raises(ValueError, match="swap them"):
            bounds(
                Bracket(
                    start=(error_at(0, at=NOON + WEEK),), end=(error_at(0),), sensor=Sensor.THERMISTOR, resolution=0
                )
            )

    @pytest.mark.parametrize("at", [NOON - timedelta(microseconds=1), NOON + WEEK + timedelta(microseconds=1)])
    def test_a_reading_outside_the_two_checks_has_no_likely_value_here(self, at):
        with pytest.raises(ValueError, match="not taken between the two checks"):
            likely(4_000, at, week(0, 500))

    @pytest.mark.parametrize("direction, missed", [(Direction.AT_LEAST, 75_001), (Direction.AT_MOST, 74_999)])
    def test_one_reading_cannot_tell_both(self, direction, missed):
        with pytest.raises(ValueError, match="swap the two temperatures"):
            telling(75_000, direction, bounds(week(0, 0)), missed)

    def test_nothing_to_compare_with_is_refused(self):
        with pytest.raises(ValueError, match="Give the limit"):
            telling(None, Direction.AT_LEAST, bounds(week(0, 0)))


class TestLikely:
    def test_at_a_check_its_own_error_holds(self):
        bracket = week(200, -600)
        assert likely(4_000, NOON, bracket) == 3_800
        assert likely(4_000, NOON + WEEK, bracket) == 4_600

    def test_half_way_half_of_the_drift_has_happened(self):
        assert likely(4_000, NOON + WEEK / 2, week(200, -600)) == 4_200

    @pytest.mark.parametrize("known", [{"start": (error_at(300),), "end": ()}, {"start": (), "end": (error_at(300),)}])
    def test_with_one_check_its_error_is_taken_as_it_was(self, known):
        assert likely(4_000, NOON - WEEK, Bracket(**known, sensor=Sensor.UNKNOWN, resolution=0)) == 3_700

    def test_without_any_check_nothing_is_likely(self):
        assert likely(4_000, NOON, Bracket(start=(), end=(), sensor=Sensor.UNKNOWN, resolution=0)) is None

    def test_two_checks_at_one_instant_leave_the_error_of_the_second(self):
        bracket = Bracket(start=(error_at(300),), end=(error_at(500),), sensor=Sensor.UNKNOWN, resolution=0)
        assert likely(4_000, NOON, bracket) == 3_500

    @pytest.mark.parametrize("value, error", [(0, 0), (25_000, 250), (100_000, 1_000), (130_000, 1_000), (-20_000, 0)])
    def test_between_zero_and_boiling_it_lies_on_the_line_and_beyond_it_stays(self, value, error):
        assert likely(value, NOON, with_boiling(0, 1_000)) == value - error

    def test_a_side_checked_at_zero_only_takes_the_shape_of_the_other(self):
        """Zero has moved by 0.2 °C since the full check; at 75 °C it then read 0.6 more than at zero."""
        full = (error_at(0, 0, 0, NOON), error_at(800, 0, 100_000, NOON))
        bracket = Bracket(start=full, end=(error_at(200, at=NOON + WEEK),), sensor=Sensor.THERMISTOR, resolution=0)
        assert likely(75_000, NOON + WEEK, bracket) == 75_000 - 800
        assert likely(75_000, NOON, bracket) == 75_000 - 600
        back = Bracket(
            start=(error_at(200),),
            end=tuple(error_at(p.error, 0, p.temperature, NOON + WEEK) for p in full),
            sensor=Sensor.THERMISTOR,
            resolution=0,
        )
        assert likely(75_000, NOON + WEEK / 2, back) == 75_000 - 700

    @given(errors, errors, temperatures, st.integers(0, 10**6))
    def test_it_is_the_straight_line_to_half_a_milli_degree(self, first, last, reading, tick):
        at = NOON + WEEK * tick / 10**6
        moment = Fraction((at - NOON) // timedelta(microseconds=1), WEEK // timedelta(microseconds=1))
        exact = reading - (first + (last - first) * moment)
        assert abs(likely(reading, at, week(first, last)) - exact) <= Fraction(1, 2)


telling_bounds = error_bounds.filter(lambda known: known.highs)
thirds, beside = st.integers(0, 2), st.integers(-2, 2) | errors


@st.composite
def near_limits(draw: st.DrawFn) -> tuple[int, int, ErrorBounds]:
    """A reading, bounds, and a limit that is often within a milli-degree of an end of the range."""
    known, value = draw(telling_bounds), draw(temperatures)
    near = (*true_range(value, known), value)[draw(thirds)]
    return value, near + draw(beside), known


class TestClassify:
    @given(near_limits(), st.integers(0, 3_000), directions)
    def test_near_a_limit(self, near, by, direction):
        self.agrees_with_the_range_shown_beside_it(near, direction)
        self.a_limit_held_at_most_is_broken_at_least_except_where_truth_can_equal_it(near)
        self.a_looser_limit_is_never_worse(near, by, direction)
        self.what_breaks_a_limit_surely_may_lie_further_off(near, by, direction)

    def agrees_with_the_range_shown_beside_it(self, near, direction):
        """A range rounded outward cannot decide against a limit it touches, and never contradicts; broken is told a milli-degree
        of what is shown late at most.
        """
        value, limit, known = near
        coldest, hottest = true_range(value, known)
        (colder, _), (_, hotter) = true_range(value - 1, known), true_range(value + 1, known)
        outcome = classify(value, limit, direction, known)
        safe, unsafe = (hottest <= limit, colder > limit)
        if direction is Direction.AT_LEAST:
            safe, unsafe = (coldest >= limit, hotter < limit)
        assert (outcome is Outcome.HELD) is safe
        assert outcome is Outcome.BROKEN or not unsafe
        if outcome is Outcome.BROKEN and not unsafe:
            assert colder <= limit <= hotter

    @given(brackets.filter(lambda each: not any(fault.only for fault in FAULTS[each.sensor])), temperatures)
    def test_errors_of_the_other_sign_mirror_the_bounds(self, bracket, temperature):
        def negative(side):
            return tuple(error_at(-p.error, p.expanded, p.temperature, p.at) for p in side)

        mirror = Bracket(start=negative(bracket.start), end=negative(bracket.end), sensor=bracket.sensor, resolution=0)
        both = bounds(bracket), bounds(mirror)
        assume(all(each.highs and not is_raised(each) for each in both))
        known, mirrored = (each.at(temperature) for each in both)
        assert known == pytest.approx((-mirrored[1], -mirrored[0]), abs=2)  # rounded half way, and once more

    def a_limit_held_at_most_is_broken_at_least_except_where_truth_can_equal_it(self, near):
        value, limit, known = near
        both = {classify(value, limit, direction, known) for direction in Direction}
        assert both != {Outcome.BROKEN}
        if both == {Outcome.HELD}:
            assert true_range(value, known) == (limit, limit)

    @given(errors, errors, half_widths, st.integers(0, 500), sensors, temperatures, errors, directions)
    def test_knowing_less_never_decides_more(self, first, last, expanded, more, sensor, limit, by, direction):
        sharp, vague = bounds(week(first, last, expanded, sensor)), bounds(week(first, last, expanded + more, sensor))
        before, after = (classify(limit + by, limit, direction, known) for known in (sharp, vague))
        assert after in (before, Outcome.UNDECIDED)

    def a_looser_limit_is_never_worse(self, near, by, direction):
        value, limit, known = near
        ranks = [Outcome.BROKEN, Outcome.UNDECIDED, Outcome.HELD]
        looser = limit + by if direction is Direction.AT_MOST else limit - by
        before, after = (ranks.index(classify(value, each, direction, known)) for each in (limit, looser))
        assert after >= before

    def what_breaks_a_limit_surely_may_lie_further_off(self, near, by, direction):
        """Between what surely keeps and what surely breaks it nothing can be told."""
        value, limit, known = near
        missed = limit - by if direction is Direction.AT_LEAST else limit + by
        kept, lost = (classify(value, each, direction, known) for each in (limit, missed))
        expected = (
            Outcome.HELD if kept is Outcome.HELD else Outcome.BROKEN if lost is Outcome.BROKEN else Outcome.UNDECIDED
        )
        assert classify(value, limit, direction, known, missed) is expected

    def test_where_nothing_keeps_a_limit_it_can_only_be_broken(self):
        known = bounds(week(0, 0))
        told = [classify(v, None, Direction.AT_LEAST, known, 75_000) for v in (90_000, 74_000)]
        assert told == [Outcome.UNDECIDED, Outcome.BROKEN]

    @given(st.integers(-58_000, 482_000), st.integers(0, 2_000), st.integers(-58_000, 482_000), directions)
    def test_a_fahrenheit_scale_keeps_every_comparison(self, reading, more, limit, direction):
        """Readings and limits in °F become whole milli-°C; a safer reading in °F is never judged worse."""
        known = bounds(week(0, 0))
        safer = reading - more if direction is Direction.AT_MOST else reading + more
        edge = celsius(limit)
        ranks = [Outcome.BROKEN, Outcome.UNDECIDED, Outcome.HELD]
        worse, better = (ranks.index(classify(celsius(each), edge, direction, known)) for each in (reading, safer))
        assert better >= worse

    @pytest.mark.parametrize(
        "value, direction, outcome",
        [
            (-0, Direction.AT_MOST, Outcome.HELD),
            (1, Direction.AT_MOST, Outcome.UNDECIDED),
            (1_000, Direction.AT_MOST, Outcome.UNDECIDED),
            (1_001, Direction.AT_MOST, Outcome.BROKEN),
            (1_000, Direction.AT_LEAST, Outcome.HELD),
            (999, Direction.AT_LEAST, Outcome.UNDECIDED),
            (0, Direction.AT_LEAST, Outcome.UNDECIDED),
            (-1, Direction.AT_LEAST, Outcome.BROKEN),
        ],
    )
    def test_a_probe_that_came_to_read_one_degree_high_against_zero(self, value, direction, outcome):
        """At the checked temperature itself no allowance blurs the edges."""
        assert classify(value, 0, direction, bounds(week(0, 1_000))) is outcome


def celsius(fahrenheit: int) -> int:
    """Milli-°F to milli-°C, rounded half up."""
    return floor(Fraction(5 * (fahrenheit - 32_000), 9) + Fraction(1, 2))


def test_every_sensor_has_its_figures():
    assert set(ALLOWANCES) == set(FAULTS) == set(CURVATURES) == set(Sensor) and set(STEEPENINGS) <= set(Sensor)
