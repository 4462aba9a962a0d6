"""What readings could really have been: against simulated drifts and exact fractions."""

from datetime import UTC, datetime, timedelta
from fractions import Fraction
from math import ceil, floor

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.metrology.assessment import (
    Bracket,
    ErrorAt,
    ErrorBounds,
    bounds,
    classify,
    likely,
    true_range,
)
from compliance.metrology.vocabulary import Direction, Outcome

NOON = datetime(2031, 5, 1, 12, tzinfo=UTC)
WEEK = timedelta(days=7)

temperatures = st.integers(-60_000, 260_000)
errors = st.integers(-5_000, 5_000)
half_widths = st.integers(0, 1_500)


def error_at(error: int, expanded: int = 0, at: datetime = NOON) -> ErrorAt:
    return ErrorAt(at=at, error=error, expanded=expanded)


def week(first: int, last: int, expanded: int = 0, allowance: int = 0) -> Bracket:
    end = error_at(last, expanded, NOON + WEEK)
    return Bracket(start=error_at(first, expanded), end=end, allowance=allowance)


brackets = st.builds(
    lambda e0, u0, e1, u1, allowance: Bracket(
        start=error_at(e0, u0), end=error_at(e1, u1, NOON + WEEK), allowance=allowance
    ),
    errors, half_widths, errors, half_widths, half_widths,
)  # fmt: skip
error_bounds = st.builds(bounds, brackets)
shares = st.fractions(0, 1, max_denominator=1000)
signed_shares = st.fractions(-1, 1, max_denominator=1000)


class TestTheTruthLiesInTheRange:
    """A probe is simulated: what it was worth is known, what it reads follows, and the range must hold the truth."""

    @given(brackets, temperatures, shares, signed_shares, signed_shares, signed_shares, st.integers(1, 12))
    def test_for_any_drift_in_one_direction(self, bracket, truth, moment, off0, off1, slope, bend):
        """`bend` 1 drifts in a straight line, more waits ever longer and then runs; both ends err within their U."""
        first = bracket.start.error + off0 * bracket.start.expanded
        last = bracket.end.error + off1 * bracket.end.expanded
        at_zero = first + (last - first) * moment**bend
        reading = truth + at_zero + slope * Fraction(bracket.allowance, 75_000) * truth
        known = bounds(bracket)
        assert true_range(floor(reading), known)[0] <= truth <= true_range(ceil(reading), known)[1]

    @given(brackets, temperatures)
    def test_and_the_range_is_hardly_wider_than_the_truths_that_could_show_this(self, bracket, reading):
        """By at most the allowance on twice the error (the truth may be nearer to zero than shown) and rounding."""
        ends, per_degree = (bracket.start, bracket.end), Fraction(bracket.allowance, 75_000)
        extremes = [end.error + sign * end.expanded for end in ends for sign in (-1, 1)]
        truths = [(reading - error) / (1 + sign * per_degree) for error in extremes for sign in (-1, 1)]
        coldest, hottest = true_range(reading, bounds(bracket))
        grown = per_degree / (1 - per_degree)
        slack = 2 * grown * (max(map(abs, extremes)) + grown * abs(reading)) + 8
        assert min(truths) - slack <= coldest <= min(truths)
        assert max(truths) <= hottest <= max(truths) + slack

    @given(errors, errors, half_widths, temperatures)
    def test_without_an_allowance_it_is_exactly_the_reading_less_the_errors(self, first, last, expanded, reading):
        low, high = min(first, last) - expanded, max(first, last) + expanded
        assert true_range(reading, bounds(week(first, last, expanded))) == (reading - high, reading - low)

    @given(brackets, temperatures, shares)
    def test_the_likely_value_lies_in_the_range(self, bracket, reading, moment):
        at = NOON + timedelta(microseconds=int(moment * (WEEK // timedelta(microseconds=1))))
        coldest, hottest = true_range(reading, bounds(bracket))
        assert coldest <= likely(reading, at, bracket) <= hottest

    def test_a_worked_example(self):
        """+0.3 °C then +1.4 °C, each known to 0.12 °C, 0.375 °C at 75 °C: a shown 8.0 °C was 6.43 to 7.87 °C.

        By hand: the error at zero was 0.18 to 1.52. The truth is at most (8 + 1.52)/(1 - 0.005) = 9.57 °C from zero,
        which makes 0.375 · 9.57/75 = 0.048 more.
        """
        known = bounds(week(300, 1_400, expanded=120, allowance=375))
        assert true_range(8_000, known) == (8_000 - 1_520 - 49, 8_000 - 180 + 49)


class TestUnbounded:
    @pytest.mark.parametrize("start, end", [(None, None), (error_at(100), None), (None, error_at(100))])
    def test_a_side_without_a_check_bounds_nothing(self, start, end):
        known = bounds(Bracket(start=start, end=end, allowance=200))
        assert (known.low, known.high) == (None, None)
        assert true_range(4_000, known) is None
        assert {classify(4_000, 90_000, direction, known) for direction in Direction} == {Outcome.UNDECIDED}


class TestRefusals:
    @pytest.mark.parametrize("side", ["start", "end"])
    def test_a_negative_uncertainty_is_refused(self, side):
        checks = {"start": error_at(0), "end": error_at(0, at=NOON + WEEK), side: error_at(0, expanded=-1)}
        with pytest.raises(ValueError, match="zero or more, in mK"):
            bounds(Bracket(**checks, allowance=0))

    @pytest.mark.parametrize("allowance", [-1, 75_000])
    def test_an_allowance_out_of_range_is_refused(self, allowance):
        with pytest.raises(ValueError, match="0 or more, and less than 75 000 mK"):
            bounds(week(0, 0, allowance=allowance))

    def test_checks_in_the_wrong_order_are_refused(self):
        with pytest.raises(ValueError, match="swap them"):
            bounds(Bracket(start=error_at(0, at=NOON + WEEK), end=error_at(0), allowance=0))

    @pytest.mark.parametrize("at", [NOON - timedelta(microseconds=1), NOON + WEEK + timedelta(microseconds=1)])
    def test_a_reading_outside_the_two_checks_has_no_likely_value_here(self, at):
        with pytest.raises(ValueError, match="not taken between the two checks"):
            likely(4_000, at, week(0, 500))


class TestLikely:
    def test_at_a_check_its_own_error_holds(self):
        bracket = week(200, -600)
        assert likely(4_000, NOON, bracket) == 3_800
        assert likely(4_000, NOON + WEEK, bracket) == 4_600

    def test_half_way_half_of_the_drift_has_happened(self):
        assert likely(4_000, NOON + WEEK / 2, week(200, -600)) == 4_200

    @pytest.mark.parametrize("known", [{"start": error_at(300), "end": None}, {"start": None, "end": error_at(300)}])
    def test_with_one_check_its_error_is_taken_as_it_was(self, known):
        assert likely(4_000, NOON - WEEK, Bracket(**known, allowance=0)) == 3_700

    def test_without_any_check_nothing_is_likely(self):
        assert likely(4_000, NOON, Bracket(start=None, end=None, allowance=0)) is None

    def test_two_checks_at_one_instant_leave_the_error_of_the_second(self):
        bracket = Bracket(start=error_at(300), end=error_at(500), allowance=0)
        assert likely(4_000, NOON, bracket) == 3_500

    @given(errors, errors, temperatures, st.integers(0, 10**6))
    def test_it_is_the_straight_line_to_half_a_milli_degree(self, first, last, reading, tick):
        at = NOON + WEEK * tick / 10**6
        moment = Fraction((at - NOON) // timedelta(microseconds=1), WEEK // timedelta(microseconds=1))
        exact = reading - (first + (last - first) * moment)
        assert abs(likely(reading, at, week(first, last)) - exact) <= Fraction(1, 2)


def outcome_in_fractions(value: int, limit: int, direction: Direction, known: ErrorBounds) -> Outcome:
    """The same in rational degrees: which of all possible truths keep the limit, asked at both ends of their range."""
    spread = Fraction(known.allowance, 1_000) * abs(Fraction(value, 1_000)) / 75
    truths = [Fraction(value - known.high, 1_000) - spread, Fraction(value - known.low, 1_000) + spread]
    edge = Fraction(limit, 1_000)
    kept = [truth <= edge if direction is Direction.AT_MOST else truth >= edge for truth in truths]
    return {(True, True): Outcome.HELD, (False, False): Outcome.BROKEN}.get((kept[0], kept[1]), Outcome.UNDECIDED)


@st.composite
def near_limits(draw: st.DrawFn) -> tuple[int, int, ErrorBounds]:
    """A reading, bounds, and a limit that is often within a milli-degree of an end of the range."""
    known, value = draw(error_bounds), draw(temperatures)
    near = draw(st.sampled_from([*true_range(value, known), value]))
    return value, near + draw(st.integers(-2, 2) | errors), known


directions = st.sampled_from(list(Direction))


class TestClassify:
    @given(near_limits(), directions)
    def test_agrees_with_exact_fractions(self, near, direction):
        value, limit, known = near
        assert classify(value, limit, direction, known) is outcome_in_fractions(value, limit, direction, known)

    @given(near_limits(), directions)
    def test_agrees_with_the_range_shown_beside_it(self, near, direction):
        """A range rounded outward cannot decide against a limit it touches, and never contradicts."""
        value, limit, known = near
        coldest, hottest = true_range(value, known)
        outcome = classify(value, limit, direction, known)
        safe, unsafe = (hottest <= limit, coldest > limit)
        if direction is Direction.AT_LEAST:
            safe, unsafe = (coldest >= limit, hottest < limit)
        assert (outcome is Outcome.HELD) is safe
        assert outcome is Outcome.BROKEN or not unsafe
        if outcome is Outcome.BROKEN and not unsafe:
            assert limit in (coldest, hottest)

    @given(near_limits(), directions)
    def test_both_directions_are_mirror_images(self, near, direction):
        value, limit, known = near
        mirrored = ErrorBounds(low=-known.high, high=-known.low, allowance=known.allowance)
        other = Direction.AT_LEAST if direction is Direction.AT_MOST else Direction.AT_MOST
        assert classify(-value, -limit, other, mirrored) is classify(value, limit, direction, known)

    @given(near_limits())
    def test_a_limit_held_at_most_is_broken_at_least_except_where_truth_can_equal_it(self, near):
        value, limit, known = near
        both = {classify(value, limit, direction, known) for direction in Direction}
        assert both != {Outcome.BROKEN}
        if both == {Outcome.HELD}:
            assert true_range(value, known) == (limit, limit)

    @given(near_limits(), half_widths)
    def test_knowing_less_never_decides_more(self, near, more):
        value, limit, known = near
        vaguer = ErrorBounds(low=known.low - more, high=known.high + more, allowance=known.allowance + more)
        for direction in Direction:
            before, after = (classify(value, limit, direction, each) for each in (known, vaguer))
            assert after in (before, Outcome.UNDECIDED)

    @given(near_limits(), st.integers(0, 3_000), directions)
    def test_a_looser_limit_is_never_worse(self, near, by, direction):
        value, limit, known = near
        ranks = [Outcome.BROKEN, Outcome.UNDECIDED, Outcome.HELD]
        looser = limit + by if direction is Direction.AT_MOST else limit - by
        before, after = (ranks.index(classify(value, each, direction, known)) for each in (limit, looser))
        assert after >= before

    @given(st.integers(-58_000, 482_000), st.integers(0, 2_000), st.integers(-58_000, 482_000), directions)
    def test_a_fahrenheit_scale_keeps_every_comparison(self, reading, more, limit, direction):
        """Readings and limits in °F become whole milli-°C; a safer reading in °F is never judged worse."""
        known = ErrorBounds(low=0, high=0, allowance=0)
        safer = reading - more if direction is Direction.AT_MOST else reading + more
        edge = celsius(limit)
        ranks = [Outcome.BROKEN, Outcome.HELD]
        worse, better = (ranks.index(classify(celsius(each), edge, direction, known)) for each in (reading, safer))
        assert better >= worse
        assert classify(edge, celsius(limit), direction, known) is Outcome.HELD

    @pytest.mark.parametrize(
        "value, direction, outcome",
        [
            (4_900, Direction.AT_MOST, Outcome.HELD),
            (5_100, Direction.AT_MOST, Outcome.UNDECIDED),
            (5_901, Direction.AT_MOST, Outcome.UNDECIDED),
            (6_001, Direction.AT_MOST, Outcome.BROKEN),
            (6_000, Direction.AT_LEAST, Outcome.HELD),
            (5_999, Direction.AT_LEAST, Outcome.UNDECIDED),
            (5_000, Direction.AT_LEAST, Outcome.UNDECIDED),
            (4_999, Direction.AT_LEAST, Outcome.BROKEN),
        ],
    )
    def test_a_probe_that_came_to_read_one_degree_high_against_five_degrees(self, value, direction, outcome):
        assert classify(value, 5_000, direction, bounds(week(0, 1_000))) is outcome

    @pytest.mark.parametrize(
        "limit, direction, outcome",
        [
            (2, Direction.AT_MOST, Outcome.HELD),
            (1, Direction.AT_MOST, Outcome.UNDECIDED),
            (0, Direction.AT_LEAST, Outcome.HELD),
            (1, Direction.AT_LEAST, Outcome.UNDECIDED),
        ],
    )
    def test_a_fraction_of_a_milli_degree_is_not_rounded_away(self, limit, direction, outcome):
        """1 mK at 75 °C is 1/75 000 mK here: the truth is 1 milli-°C and a hair more or less."""
        assert classify(1, limit, direction, ErrorBounds(low=0, high=0, allowance=1)) is outcome


def celsius(fahrenheit: int) -> int:
    """Milli-°F to milli-°C, rounded half up."""
    return floor(Fraction(5 * (fahrenheit - 32_000), 9) + Fraction(1, 2))
