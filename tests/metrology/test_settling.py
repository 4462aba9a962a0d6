"""When a probe has settled: by example, against simulated sheaths, and whatever is typed."""

from dataclasses import replace
from math import exp, inf, log, nan
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.metrology.settling import ROOM_ABOVE_BATH, Settling, SettlingState, TimedValue, judge_settling

from .sheaths import Sheath, lagging, tailed, thin, typed

SETTLED, FALLING, RISING = SettlingState.SETTLED, SettlingState.FALLING, SettlingState.RISING
TOO_FEW, DRIFTING = SettlingState.TOO_FEW, SettlingState.DRIFTING
WARMING, JUMPING, DOUBTFUL = SettlingState.WARMING, SettlingState.JUMPING, SettlingState.DOUBTFUL

displays = st.sampled_from([0.1, 1.0])
makes = st.sampled_from([thin, lagging, tailed])
chances = st.integers(0, 2**32).map(Random)
series = st.lists(
    st.builds(
        TimedValue,
        elapsed=st.integers(0, 600).map(float),
        value=st.integers(-30, 300).map(lambda tenths: tenths / 10),
    ),
    max_size=40,
)


def readings(*pairs: tuple[float, float]) -> list[TimedValue]:
    return [TimedValue(elapsed=elapsed, value=value) for elapsed, value in pairs]


def judge(*pairs: tuple[float, float], resolution=0.1, time_constant=None) -> Settling:
    return judge_settling(readings(*pairs), resolution, time_constant)


FALL = ((2, 14.8), (8, 4.0), (14, 1.3), (20, 0.6), (26, 0.3))
STILL = ((32, 0.2), (38, 0.2), (44, 0.2), (50, 0.2), (56, 0.2), (62, 0.2))


# By example


def test_nothing_typed_asks_for_readings():
    found = judge()
    assert (found.state, found.value, found.count, found.seconds_to_go) == (TOO_FEW, None, 0, None)
    assert "Type what the display shows" in found.sentence


def test_a_fall_is_a_fall_and_says_how_long():
    found = judge(*FALL)
    assert (found.state, found.value) == (FALLING, None)
    assert found.sentence == f"Still falling, about {found.seconds_to_go:.0f} s to go."


def test_a_probe_from_the_freezer_rises():
    found = judge((2, -14.8), (8, -4.0), (14, -1.3))
    assert found.state is RISING
    assert found.sentence.startswith("Still rising, about ")


def test_a_display_that_stands_still_has_settled():
    found = judge(*FALL, *STILL)
    assert (found.state, found.sentence) == (SETTLED, "Settled.") and found.value == pytest.approx(0.2)
    assert found.seconds_to_go == 0
    assert 0 < found.residual < 0.1


def test_a_flicker_between_two_digits_is_still_and_its_mean_counts():
    found = judge(*FALL, *((32 + 6 * n, 0.1 + 0.1 * (n % 2)) for n in range(8)))
    assert (found.state, found.count) == (SETTLED, 8)
    assert found.value == pytest.approx(0.15)


def test_a_step_onwards_makes_the_wait_begin_again():
    assert judge((2, 9.0), (8, 1.0), (14, 0.3), (20, 0.3), (26, 0.2)).state is FALLING


def test_a_step_onwards_after_settling_takes_the_digit_reached():
    found = judge(*FALL, *STILL, (68, 0.1))
    assert (found.state, found.settled_since, found.value) == (SETTLED, 68, 0.1)


def test_a_steady_creep_is_not_settled():
    creep = [(6.0 * i, round(2 - 0.1 * (i // 3), 1)) for i in range(30)]
    assert judge((0, 9.0), *creep).state is FALLING


def test_a_creep_of_a_digit_in_two_minutes_is_not_settled_either():
    creep = [(10.0 * i, round(2 - 0.1 * (i // 13), 1)) for i in range(80)]
    assert judge((0, 9.0), *creep[1:]).state is FALLING


def test_two_readings_must_stand_still_for_twice_as_long_as_three():
    """Twice 12 s on three readings, four times on two."""
    fall = ((2, 14.8), (8, 2.0), (14, 0.5))
    assert judge(*fall, (20, 0.2), (50, 0.2), time_constant=12).state is FALLING
    assert judge(*fall, (20, 0.2), (35, 0.2), (50, 0.2), time_constant=12).state is SETTLED
    assert judge(*fall, (20, 0.2), (69, 0.2), time_constant=12).state is SETTLED


def test_within_a_minute_it_must_have_stood_still_for_twenty_seconds_however_often_somebody_types():
    """Judgement; shown on a display of 1 °C of a known probe, where no small tail can hide half a digit for as long."""
    fall = ((1, 15.0), (4, 7.0), (8, 3.0))
    for pace, still_for in ((1, 20), (2, 20), (5, 20), (6, 24)):
        still = [(12.0 + pace * n, 0.0) for n in range(still_for // pace + 1)]
        assert judge(*fall, *still[:-1], resolution=1.0, time_constant=3).state is not SETTLED
        assert judge(*fall, *still, resolution=1.0, time_constant=3).state is SETTLED
    late = [(46 + 2.0 * n, 0.0) for n in range(8)]
    typed_late = tuple((at + 34, value) for at, value in fall)
    states = [judge(*typed_late, *late[:n], resolution=1.0, time_constant=3).state for n in (7, 8)]
    assert states[0] is not SETTLED and states[1] is SETTLED, "after a minute the usual window is enough"


def test_a_tail_too_small_to_be_seen_stays_in_the_bound():
    """8 % of 25 °C with 20 s: 2·e^(-92/20) = 0.0201 °C after 92 s; less by stillness: 0.1/(e^(60/20) - 1) = 0.0052 (computed)."""
    found = judge(*FALL, *((32 + 6.0 * n, 0.2 if n else 0.3) for n in range(11)))
    assert found.residual == pytest.approx(0.1 / (exp(3) - 1), rel=0.7)
    assert found.residual > 0.1 / (exp(54 / 12) - 1), "what the tip alone would leave"


def test_water_that_warms_the_probe_is_named_and_says_to_drain():
    found = judge(*FALL, *STILL, (70, 0.5), (90, 0.9))
    assert (found.state, found.value, found.seconds_to_go) == (WARMING, None, None)
    assert "rising again" in found.sentence
    assert "Drain the water" in found.sentence


def test_a_bath_that_warms_by_a_digit_in_a_minute_is_named_although_every_digit_stands_still():
    creep = [(68.0 + 6 * i, round(0.2 + 0.1 * (i // 10), 1)) for i in range(40)]
    states = [judge(*FALL, *STILL, *creep[:n]).state for n in range(len(creep) + 1)]
    assert states[0] is SETTLED
    assert states[-1] is WARMING
    assert next(n for n, state in enumerate(states) if state is WARMING) <= 24


def test_a_probe_pulled_out_is_drift_and_not_a_warm_bath():
    found = judge(*FALL, *STILL, (65, 1.5), (68, 4.0))
    assert found.state is DRIFTING
    assert "still deep in the ice" in found.sentence


def test_a_display_that_goes_up_and_down_jumps():
    found = judge(*FALL, (32, 0.8), (38, 0.3), (44, 0.9), (50, 0.3))
    assert found.state is JUMPING
    assert "plug and battery" in found.sentence
    assert found.state.is_fault


def test_a_flicker_of_two_digits_is_no_jump():
    assert judge(*FALL, (32, 0.3), (38, 0.1), (44, 0.3), (50, 0.1)).state is not JUMPING


def test_a_slip_of_the_finger_is_doubted_and_no_drift():
    found = judge(*FALL, *STILL, (68, 2.0))
    assert (found.state, found.value) == (DOUBTFUL, None)
    assert [(s.number, s.shown, s.meant) for s in found.suspects] == [(12, 2.0, 0.2)]
    assert found.sentence == "Reading 12 shows 2 at 68 s; was 0.2 meant?"
    assert judge(*FALL, *STILL, (68, 1.1)).state is DRIFTING


def test_a_slip_counts_as_it_was_typed_until_the_display_stood_still_after_it():
    found = judge((2, 14.8), (8, 4.0), (14, -1.3), (20, 0.6), (26, 0.3), *STILL)
    assert (found.state, found.count) == (SETTLED, 6) and found.value == pytest.approx(0.2)
    assert [s.sentence for s in found.suspects] == ["Reading 3 shows \N{MINUS SIGN}1.3 at 14 s; was 1.3 meant?"]


def test_a_fall_after_a_false_rest_is_drift_and_says_to_pack():
    rise = ((2, -9.0), (8, -3.0), (14, -0.9), (20, -0.2), (26, 0.2), (32, 0.2), (38, 0.2), (44, 0.2), (50, 0.2))
    found = judge(*rise, (70, -0.2), (90, -0.5))
    assert found.state is DRIFTING
    assert "falling again" in found.sentence
    assert "Pack the ice" in found.sentence


def test_a_quick_probe_had_settled_after_the_shortest_stillness():
    """Ten seconds, in three readings; a slower one would have had to stand still for longer."""
    still = [(7.0 + 3.5 * n, 0.1) for n in range(4)]
    found = judge((1, 9.0), (2, 3.0), (3, 1.0), (4, 0.4), *still, (21, 1.5), time_constant=2)
    assert found.state is DRIFTING
    assert "rising again" in found.sentence


def test_a_probe_that_went_in_after_the_clock_started_is_no_drift():
    assert judge((0, 21.0), (6, 21.0), (12, 21.0), (18, 21.0), (24, 6.0)).state is FALLING


def test_one_reading_counts_only_after_a_long_wait_and_with_a_wide_bound():
    early, late, later = judge((89, 0.2)), judge((90, 0.2)), judge((240, 0.2))
    assert early.state is TOO_FEW
    assert (late.state, late.count, late.value) == (SETTLED, 1, 0.2)
    assert late.residual > 0.05 > 0.001 > later.residual > 0
    assert "two more readings" in late.sentence


def test_the_bound_of_one_reading_is_that_of_the_slowest_plausible_tail():
    """A quarter of a step of 25 °C, 20 s: 6.25·e^(-120/20) = 0.0155 °C (computed)."""
    assert judge((120, 0.2)).residual == pytest.approx(0.0155, abs=5e-5)


def test_a_known_slow_probe_has_a_slower_tail():
    assert judge((240, 0.2), time_constant=30).residual > 50 * judge((240, 0.2)).residual


def test_more_readings_after_a_long_wait_narrow_the_bound():
    assert judge((90, 0.2), (100, 0.2), (110, 0.2), (120, 0.2)).residual < judge((90, 0.2)).residual / 2


def test_a_first_reading_typed_late_must_stand_still_for_as_long_as_a_slow_tail_takes():
    """Less than q/(e^(W/20) - 1) is to come: half a digit after 20·ln 3 = 22.0 s (computed)."""
    late = [(40 + 6.0 * n, 0.2) for n in range(5)]
    assert judge(*late[:4]).state is TOO_FEW
    assert judge(*late).state is SETTLED


def test_a_clock_started_before_the_probe_went_in_counts_from_when_it_went_in():
    out = [(10.0 * n, 21.0) for n in range(10)]
    still = [(110, 3), (120, 1), (126, 1), (132, 1), (140, 1)]
    assert judge(*out, *still, resolution=1.0).state is FALLING
    assert judge((2, 21), *still, resolution=1.0).state is SETTLED


def test_a_slow_probe_must_stand_still_for_longer():
    still = ((32, 0.2), (44, 0.2), (55, 0.2))
    assert judge((20, 0.5), *still, time_constant=4).state is SETTLED
    assert judge((20, 0.5), *still, time_constant=12).state is FALLING


def test_the_bound_is_that_of_a_first_order_step():
    """Less than m/(e^(W/τ) - 1) is to come: with m the digit and W = 2 τ, 0.16 of it (computed from the step response).

    τ counts twofold, for what a sheath may hide, so W = 48 s in a probe of 12 s gives m/(e² - 1).
    """
    found = judge((32, 0.2), (56, 0.2), (80, 0.2), time_constant=12)
    assert found.residual == pytest.approx(0.1 / (exp(2) - 1), rel=1e-6)
    assert found.residual / 0.1 == pytest.approx(0.16, abs=0.005)


def test_an_unsettled_probe_has_no_figure():
    assert judge(*FALL).residual == ROOM_ABOVE_BATH
    assert judge(*FALL).settled_since is None


def test_tenths_in_fahrenheit_flicker_like_any_other():
    """0.1 °F is 0.0556 °C, and values come rounded to thousandths: steps of 0.055 and 0.056."""
    values = (0.222, 0.278, 0.222, 0.278, 0.222, 0.278, 0.222, 0.333 - 0.055)
    pairs = [(40 + 6 * i, value) for i, value in enumerate(values)]
    assert judge((10, 3.0), (20, 1.0), (30, 0.444), *pairs, resolution=0.055).state is SETTLED


# Against simulated sheaths


def first_settled(sheath: Sheath, resolution: float, chance: Random, **how) -> tuple[list[TimedValue], Settling]:
    """What the cook sees who types on until the check says that it has settled."""
    series = typed(sheath, resolution, chance, **how)
    for count in range(1, len(series) + 1):
        found = judge_settling(series[:count], resolution)
        if found.state is SETTLED:
            return series[:count], found
    raise AssertionError("never settled")


@pytest.mark.parametrize("resolution", [0.1, 1.0])
@pytest.mark.parametrize("every", [(4, 9), (1.5, 4), (8, 20)])
def test_settled_is_hardly_ever_said_with_half_a_digit_to_come(resolution, every):
    """Below 1 in 100 simulated probes, slow tails and lags alike."""
    chance, early, beyond, probes = Random(20), 0, 0, 200
    for number in range(probes):
        sheath = (tailed, lagging)[number % 2](chance, chance.uniform(-1.5, 1.5))
        seen, found = first_settled(sheath, resolution, chance, every=every)
        early += abs(sheath.to_come(seen[-1].elapsed)) > resolution / 2
        beyond += abs(found.value - sheath.end) > found.residual + resolution / 2
    assert early / probes < 0.01
    assert beyond / probes < 0.01


def test_what_settled_says_stays_true_while_more_is_typed():
    """Whenever it says so, the truth lies within the residual and half a digit."""
    chance, beyond, said = Random(8), 0, 0
    for number in range(150):
        sheath = (tailed, lagging, thin)[number % 3](chance, chance.uniform(-1.5, 1.5))
        series = typed(sheath, 0.1, chance)
        for count in range(1, len(series) + 1, 2):
            found = judge_settling(series[:count], 0.1)
            said += found.state is SETTLED
            beyond += found.state is SETTLED and abs(found.value - sheath.end) > found.residual + 0.05 + 1e-9
    assert said > 1500
    assert beyond / said < 0.01


@given(st.sampled_from([thin, lagging]), st.floats(-1.5, 1.5), displays, chances)
def test_without_a_slow_tail_the_truth_is_always_within_the_bound(make, end, resolution, chance):
    _, found = first_settled(make(chance, end), resolution, chance)
    assert abs(found.value - end) <= found.residual + resolution / 2 + 1e-9


def test_a_thin_probe_is_settled_within_a_minute_and_ten_readings():
    """τ of 3 to 5 s from 20 °C, typed every 5 to 8 s: half of them; nine in ten within 75 s."""
    chance, spans, counts = Random(3), [], []
    for _ in range(200):
        seen, found = first_settled(thin(chance, chance.uniform(-1, 1)), 0.1, chance, every=(5, 8))
        spans.append(seen[-1].elapsed)
        counts.append(len(seen))
        assert found.residual < 0.06
    assert sorted(spans)[100] <= 60
    assert sorted(spans)[180] <= 75
    assert sorted(counts)[100] <= 10
    assert min(counts) >= 5


def test_the_simulated_thin_probe_is_first_order():
    """From 20 °C, 0.1 °C is left after 5.30 τ (computed: ln 200)."""
    assert Sheath(start=20, end=0, main=4, other=1, tail=0).to_come(4 * log(200)) == pytest.approx(0.1)


def test_the_simulated_lag_is_what_is_published_of_real_sheaths():
    """t90/t50 of 1.9 to 2.4 is published for sheathed sensors, 3.32 for a first-order step; the lags reach below 2.4."""
    slow = Sheath(start=1, end=0, main=4, other=3.6, tail=-9)
    halves = [next(t / 100 for t in range(10000) if slow.to_come(t / 100) <= left) for left in (0.5, 0.1)]
    assert halves[1] / halves[0] == pytest.approx(2.35, abs=0.1)


# The time to go


@pytest.mark.parametrize("resolution", [0.1, 1.0])
def test_the_time_to_go_is_never_stuck_nor_far_off(resolution):
    chance, stuck, ratios = Random(5), [], []
    for number in range(150):
        sheath = (thin, lagging, tailed)[number % 3](chance, chance.uniform(-1, 1))
        seen, _ = first_settled(sheath, resolution, chance)
        left = [judge_settling(seen[: n + 1], resolution).seconds_to_go for n in range(1, len(seen) - 1)]
        stuck.append(_longest_run(left, 5))
        ratios += [s / (seen[-1].elapsed - seen[n + 1].elapsed) for n, s in enumerate(left) if s is not None]
    assert max(stuck) <= 3
    assert 0.5 < sorted(ratios)[len(ratios) // 2] < 1.5


def _longest_run(values: list[float | None], wanted: float) -> int:
    longest = run = 0
    for value in values:
        run = run + 1 if value == wanted else 0
        longest = max(longest, run)
    return longest


def test_waiting_still_counts_down():
    left = [judge(*FALL, *STILL[:n]).seconds_to_go for n in range(1, 4)]
    assert left == sorted(left, reverse=True)


@given(series, displays)
def test_the_time_to_go_is_whole_fives_up_to_a_few_minutes(given, resolution):
    left = judge_settling(given, resolution).seconds_to_go
    assert left is None or (left % 5 == 0 and 0 <= left <= 1200)


# Whatever is typed


@given(series, displays, chances)
def test_the_order_in_which_readings_arrive_does_not_matter(given, resolution, chance):
    shuffled = chance.sample(given, len(given))
    assert judge_settling(shuffled, resolution) == judge_settling(given, resolution)


@given(series, displays, st.none() | st.floats(0.1, 60))
def test_whatever_is_typed_gives_a_sound_answer(given, resolution, time_constant):
    found = judge_settling(given, resolution, time_constant)
    assert found.sentence.endswith("?" if found.state is DOUBTFUL else ".")
    assert found.residual >= 0
    assert (found.state is SETTLED) == (found.value is not None) == (found.settled_since is not None)
    assert (found.count > 0) == (found.state is SETTLED)
    if found.value is not None:
        late = [r.value for r in given if r.elapsed >= found.settled_since]
        assert min(late) - 1e-9 <= found.value <= max(late) + 1e-9


@given(series, st.floats(0, 60))
def test_warmer_by_a_constant_is_settled_all_the_same(given, shift):
    whole = float(round(shift))
    moved = [replace(reading, value=round(reading.value + whole, 6)) for reading in given]
    warmer, before = judge_settling(moved, 0.1), judge_settling(given, 0.1)
    slips = warmer.suspects or before.suspects  # a sign or a decimal point is not where it was
    assert slips or warmer.state is before.state


def test_two_hundred_readings_are_taken_and_one_more_is_not():
    many = [TimedValue(elapsed=float(i), value=0.1) for i in range(201)]
    assert judge_settling(many[:200], 0.1).state is SETTLED
    with pytest.raises(ValueError, match="takes up to 200 readings; this one has 201"):
        judge_settling(many, 0.1)


@pytest.mark.parametrize(
    ("pair", "word"),
    [
        ((-1, 0.1), "seconds"),
        ((7201, 0.1), "seconds"),
        ((nan, 0.1), "seconds"),
        ((9, 401), "decimal"),
        ((9, inf), "decimal"),
    ],
)
def test_a_reading_that_cannot_be_is_refused(pair, word):
    with pytest.raises(ValueError, match=word):
        judge(pair)


@pytest.mark.parametrize("resolution", [0, 0.0009, 5.1, nan])
def test_a_display_that_cannot_be_is_refused(resolution):
    with pytest.raises(ValueError, match=r"step of the display, from 0\.001 to 5 °C"):
        judge(resolution=resolution)


@pytest.mark.parametrize("time_constant", [0.0, 0.09, 61, nan])
def test_a_time_constant_that_cannot_be_is_refused(time_constant):
    with pytest.raises(ValueError, match=r"time constant in seconds, from 0\.1 to 60"):
        judge(time_constant=time_constant)
