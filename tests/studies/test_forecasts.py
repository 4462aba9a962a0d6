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


def test_every_form_and_length_was_tried(result):
    told = {(each.form, each.length, each.one_bath, each.count) for each in result.covered}
    assert told == {(form, length, one, SIZE) for form in Form for length in LENGTHS for one in (True, False)}


def test_following_the_advice_keeps_fleets_in_tolerance(result):
    assert len(result.rates) == len(RATES)
    for fleet in result.rates:
        assert fleet.attained >= 0.95 - 4 * sqrt(0.95 * 0.05 / fleet.checks) - 0.01


def test_faster_failures_are_checked_more_often(result):
    days = [fleet.days for fleet in result.rates]
    assert days == sorted(days, reverse=True) and days[0] > days[-1]


def test_following_the_advice_keeps_drifting_probes_in_tolerance(result):
    assert all(each.attained >= 0.93 for each in result.drifts)


def test_the_same_seed_gives_the_same_result():
    assert follow_rates(1, 4, 0.006) == follow_rates(1, 4, 0.006)
    assert follow_drift(Form.STEADY, 1, 4, DAYS) == follow_drift(Form.STEADY, 1, 4, DAYS)
