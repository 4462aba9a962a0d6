"""The advice by hand, and by following it through simulated lives."""

from math import inf, log, nan

import numpy as np
import pytest

from compliance.metrology.drift import ErrorPoint, days_within, trend
from compliance.metrology.intervals import (
    STEPS,
    advise,
    at_stake,
    in_doubt,
    often,
    step_down,
)
from compliance.metrology.reliability import Trial, shrunk_rate

TOLERANCE = 1.0  # °C


def history(count=20, slope=0.0, every=7.0):
    """Errors of a fixed seed around a line, `slope` in °C per day."""
    errors = np.random.default_rng(1).normal(0, 0.05, count) + slope * every * np.arange(count)
    return trend([ErrorPoint(at=every * n, error=float(error), standard=0.05) for n, error in enumerate(errors)])


def weekly(failures, checks):
    return Trial(interval=7.0, failures=failures, checks=checks)


@pytest.mark.parametrize(
    ("days", "step"), [(1, 1), (1.9, 1), (6.99, 2), (7, 7), (13, 7), (29, 14), (30, 30), (400, 90)]
)
def test_intervals_are_steps_that_people_can_keep(days, step):
    assert step_down(days) == step


def test_the_failures_of_a_probe_shorten_its_interval():
    found = advise(history(), [weekly(5, 100)], tolerance=TOLERANCE)
    rate = shrunk_rate([weekly(5, 100)]).rate
    assert found.by_rate == int(-log(0.95) / rate)
    assert (found.days, found.rate.rate) == (7, rate)
    assert found.low <= found.days <= found.high
    assert found.reached == pytest.approx(np.exp(-7 * rate))
    assert found.why[0] == "Check it every week."


def test_a_drift_towards_the_tolerance_shortens_the_interval():
    drifting = history(14, slope=0.009)
    found = advise(drifting, [weekly(0, 300)], tolerance=TOLERANCE)
    assert found.by_trend == days_within(drifting, TOLERANCE, 0.95, 30)
    assert found.by_trend < found.by_rate
    assert found.days == step_down(max(1, found.by_trend))
    assert found.reached >= 0.95


def test_without_a_trend_or_without_checks_the_other_one_advises():
    by_rate = advise(None, [weekly(1, 40)], tolerance=TOLERANCE)
    assert (by_rate.by_trend, by_rate.days) == (None, 14)
    by_trend = advise(history(), tolerance=TOLERANCE)
    assert (by_trend.by_rate, by_trend.days) == (None, 30)
    assert by_trend.reached == pytest.approx(1 - history().probability_outside(19 * 7 + 30, TOLERANCE))


def test_no_interval_is_longer_than_the_longest():
    assert advise(history(), [weekly(0, 2000)], tolerance=TOLERANCE).days == 30
    assert advise(history(), [weekly(0, 2000)], tolerance=TOLERANCE, longest=10).days == 7
    assert advise(history(), [weekly(0, 2000)], tolerance=TOLERANCE, longest=90).days == 90


def test_a_higher_target_never_lengthens_the_interval():
    days = [advise(history(), [weekly(3, 80)], tolerance=TOLERANCE, target=R).days for R in (0.8, 0.9, 0.95, 0.99)]
    assert days == sorted(days, reverse=True)
    assert days[0] > days[-1]


def test_a_fleet_speaks_for_a_probe_of_few_checks():
    bad = [[weekly(20, 60)] for _ in range(10)]
    good = [[weekly(0, 60)] for _ in range(10)]
    assert advise(None, [weekly(0, 2)], tolerance=TOLERANCE, fleet=bad).days == 1
    assert advise(None, [weekly(0, 2)], tolerance=TOLERANCE, fleet=good).days == 30


def test_a_probe_that_fails_all_the_time_is_to_be_mended():
    found = advise(None, [Trial(interval=1.0, failures=15, checks=30)], tolerance=TOLERANCE)
    assert (found.days, found.by_rate) == (1, 0)
    assert any("adjust or replace it" in sentence for sentence in found.why)
    assert not any("meant to find it" in sentence for sentence in found.why)
    assert found.reached < 0.95


def test_a_probe_at_the_edge_is_to_be_adjusted_as_no_interval_is_short_enough():
    edge = trend([ErrorPoint(at=7.0 * n, error=0.97, standard=0.05) for n in range(10)])
    found = advise(edge, [weekly(0, 300)], tolerance=TOLERANCE)
    assert (found.adjust_first, found.by_trend, found.days) == (True, 0, 1)
    assert found.why[:2] == (
        "Adjust or replace it now; no interval is short enough.",
        "Until then, check it every day.",
    )
    assert not any("meant to find it" in sentence for sentence in found.why)
    assert found.reached < 0.95


def test_a_probe_with_a_day_left_is_not_to_be_adjusted():
    assert not advise(history(), [weekly(0, 300)], tolerance=TOLERANCE).adjust_first
    assert not advise(None, [Trial(interval=1.0, failures=15, checks=30)], tolerance=TOLERANCE).adjust_first


@pytest.mark.parametrize("own", [(), (weekly(0, 0),)])
def test_without_a_trial_nothing_supposed_of_failures_counts(own):
    """What is supposed of a kind before any was seen would give 0.7 or so at a month."""
    found = advise(history(), own, tolerance=TOLERANCE, fleet=[own])
    assert found.rate.reliability(30) < 0.9
    assert found.by_rate is None
    assert found.reached == 1 - history().probability_outside(19 * 7 + 30, TOLERANCE) > 0.95
    assert found.at_stake(8)[0].yearly is None


def test_there_is_no_advice_on_too_few_checks_and_it_says_why():
    found = advise(history(4), [weekly(0, 4)], tolerance=TOLERANCE)
    assert (found.days, found.low, found.high, found.reached) == (None, None, None, None)
    assert found.why[0].startswith("No advice yet, because there are too few checks: 4 of this probe with a figure")
    assert "fewer than 3 of this probe" in advise(None, tolerance=TOLERANCE).why[0]
    assert advise(history(5), [weekly(0, 4)], tolerance=TOLERANCE).days is not None
    assert advise(None, [weekly(0, 19)], tolerance=TOLERANCE).days is None
    assert advise(None, [weekly(0, 20)], tolerance=TOLERANCE).days is not None


def test_what_is_at_stake_is_told_in_readings():
    assert in_doubt(8.6, 7) == "Checked weekly, a failure puts about 60 readings in doubt; checked daily, about 9."
    assert in_doubt(8.6, 30).startswith("Checked every 30 days, a failure puts about 260 readings in doubt; ")
    assert in_doubt(0.05, 1).endswith("checked daily, fewer than 1.")
    found = advise(history(), [weekly(5, 100)], tolerance=TOLERANCE, readings_per_day=8.6)
    assert found.why[-1] == in_doubt(8.6, 7)


def test_what_is_at_stake_in_a_year_comes_from_the_rate():
    """By hand: 10 readings a day at 0.01 per day, 7 days: 52.14 checks a year, of which 6.76 % put 70 in doubt."""
    daily, week = at_stake(10, (1, 7), 0.01)
    assert (daily.readings, week.readings) == (10, 70)
    assert week.yearly == pytest.approx(365 / 7 * (1 - np.exp(-0.07)) * 70)
    assert at_stake(10, (7,))[0].yearly is None


def test_advice_knows_its_own_stakes():
    found = advise(history(), [weekly(5, 100)], tolerance=TOLERANCE)
    assert found.at_stake(8) == at_stake(8, STEPS, found.rate.rate)
    assert advise(history(), tolerance=TOLERANCE).at_stake(8)[0].yearly is None


def test_how_often_is_told_as_people_say_it():
    assert [often(days) for days in (1, 7, 14, 30)] == ["every day", "every week", "every 2 weeks", "every 30 days"]


def followed(hazard, seed, lives=3, checks=40):
    """The share of checks, once advice is followed, at which a probe that fails at a hazard per day was in tolerance."""
    chance, good, told = np.random.default_rng(seed), 0, 0
    fleet = [[weekly(int(f), 30)] for f in chance.binomial(30, 1 - np.exp(-7 * hazard), 10)]
    for _ in range(lives):
        own, days = [weekly(0, 1)], 7
        for _ in range(checks):
            failed = chance.random() < 1 - np.exp(-hazard * days)
            own.append(Trial(interval=float(days), failures=int(failed), checks=1))
            good, told = good + (not failed), told + 1
            days = advise(None, own, tolerance=TOLERANCE, fleet=fleet).days
    return good / told


@pytest.mark.parametrize("hazard", [0.002, 0.008, 0.03])
def test_following_the_advice_attains_the_target_within_two_points(hazard):
    assert followed(hazard, 4) >= 0.93


def test_values_out_of_range_are_refused():
    for target in (0.4, 1.0, nan):
        with pytest.raises(ValueError, match="target from"):
            advise(None, tolerance=TOLERANCE, target=target)
    for tolerance in (0, -1, inf, nan):
        with pytest.raises(ValueError, match="tolerance above zero"):
            advise(None, tolerance=tolerance)
    for longest in (0, 91):
        with pytest.raises(ValueError, match="longest interval in whole days"):
            advise(None, tolerance=TOLERANCE, longest=longest)
    with pytest.raises(ValueError, match="at least one day"):
        step_down(0.5)


def test_stakes_out_of_range_are_refused():
    for rate in (-1, inf, nan):
        with pytest.raises(ValueError, match="readings per day"):
            at_stake(rate)
        with pytest.raises(ValueError, match="readings per day"):
            advise(history(), [weekly(5, 100)], tolerance=TOLERANCE, readings_per_day=rate)
    with pytest.raises(ValueError, match="intervals above zero"):
        at_stake(1, (0,))
    with pytest.raises(ValueError, match="failures per day"):
        at_stake(1, (7,), -0.1)
