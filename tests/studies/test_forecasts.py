"""A small run of the study of forecasts; thresholds lie four standard deviations of the sampling below what is claimed."""

from math import sqrt

import pytest

from .followed import RATES, follow_drift, follow_rates
from .forecasts import Result, study
from .probe_lives import Form

SIZE, LENGTHS, DAYS = 10, (5, 15), 150.0


@pytest.fixture(scope="module")
def result() -> Result:
    return study(SIZE, 3, LENGTHS, days=DAYS)


def test_intervals_hold_the_next_check(result):
    count = SIZE * len(LENGTHS) * len(Form)
    allowed = 4 * sqrt(0.95 * 0.05 / count)
    assert 0.95 - allowed <= result.share(within=True) < 1.0
    assert 0.95 - allowed <= result.given() < 1.0
    assert 0.95 - allowed <= result.share(one_bath=False, within=True) < 1.0


def test_every_form_and_length_was_tried(result):
    told = {(each.form, each.length, each.one_bath, each.count) for each in result.covered}
    assert told == {(form, length, one, SIZE) for form in Form for length in LENGTHS for one in (True, False)}


def test_following_the_advice_keeps_fleets_in_tolerance(result):
    assert len(result.rates) == len(RATES)
    for fleet in result.rates:
        assert fleet.attained >= 0.95 - 4 * sqrt(0.95 * 0.05 / fleet.checks) - 0.01


def test_the_cut_to_a_step_is_what_keeps_fleets_better_than_asked(result):
    """Two points are claimed where 30 days are no limit; with a single fleet of each rate its probes differ by as much again."""
    for fleet in result.rates:
        assert fleet.days <= fleet.allowed and fleet.exact <= fleet.attained + 0.02
    free = [fleet.free for fleet in result.rates if fleet.free is not None]
    assert len(free) >= 4 and 0.93 <= sum(free) / len(free) <= 0.97


def test_faster_failures_are_checked_more_often(result):
    days = [fleet.days for fleet in result.rates]
    assert days == sorted(days, reverse=True) and days[0] > days[-1]


def test_following_the_advice_keeps_drifting_probes_in_tolerance(result):
    assert all(each.attained >= 0.93 and each.exact >= 0.93 for each in result.drifts)


def test_only_probes_that_move_are_to_be_adjusted_at_once(result):
    steady, linear, _ = result.drifts
    assert steady.adjust == 0.0 < linear.adjust < 0.3


def test_the_same_seed_gives_the_same_result():
    assert follow_rates(1, 4, 0.006) == follow_rates(1, 4, 0.006)
    assert follow_drift(Form.STEADY, 1, 4, DAYS) == follow_drift(Form.STEADY, 1, 4, DAYS)
