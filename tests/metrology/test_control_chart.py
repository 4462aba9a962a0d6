"""The control chart against the example of the NIST/SEMATECH e-Handbook, and the early warning against simulation."""

from math import inf, nan

import numpy as np
import pytest

from compliance.metrology.control_chart import early_warning, ewma
from compliance.metrology.drift import ErrorPoint

# NIST/SEMATECH e-Handbook, 6.3.2.4: data and averages (from memory, recomputed; the limits seen).
VALUES = [
    52.0,
    47.0,
    53.0,
    49.3,
    50.1,
    47.0,
    51.0,
    50.1,
    51.2,
    50.5,
    49.6,
    47.6,
    49.9,
    51.3,
    47.8,
    51.2,
    52.6,
    52.4,
    53.6,
    52.1,
]
AVERAGES = [
    50.60,
    49.52,
    50.56,
    50.18,
    50.16,
    49.21,
    49.75,
    49.85,
    50.26,
    50.33,
    50.11,
    49.36,
    49.52,
    50.05,
    49.38,
    49.92,
    50.73,
    51.23,
    51.94,
    51.99,
]


def points(errors, adjusted=()):
    return [
        ErrorPoint(at=7.0 * n, error=float(error), standard=0.05, after_adjustment=n in adjusted)
        for n, error in enumerate(errors)
    ]


def test_the_chart_of_the_handbook():
    chart = ewma(VALUES, 50.0, 2.0539)
    assert chart.averages == pytest.approx(AVERAGES, abs=0.0051)
    assert (chart.highest, chart.lowest) == (pytest.approx(52.5884, abs=5e-5), pytest.approx(47.4115, abs=1e-4))
    assert chart.signal is None


def test_the_limits_widen_to_those_of_the_long_run():
    """The first average is λ times one value, so its limits are L·λ·s; from memory, Montgomery."""
    chart = ewma(VALUES, 50.0, 2.0539)
    assert chart.upper[0] == pytest.approx(50 + 3 * 0.3 * 2.0539)
    assert chart.lower[0] == pytest.approx(50 - 3 * 0.3 * 2.0539)
    assert chart.upper[1] == pytest.approx(50 + 3 * 2.0539 * np.hypot(0.3, 0.3 * 0.7))
    assert list(chart.upper) == sorted(chart.upper)
    assert chart.upper[-1] == pytest.approx(chart.highest, abs=1e-5)


def test_the_first_average_outside_its_limits_gives_the_signal():
    assert ewma([0, 0, 4, 4], 0.0, 1.0).signal == 2
    assert ewma([0, 0, -4, 0], 0.0, 1.0).signal == 2
    assert ewma([3.01], 0.0, 1.0).signal == 0
    assert ewma([2.99], 0.0, 1.0).signal is None


def test_a_probe_that_stands_hardly_ever_gives_a_warning():
    """The average run length of this chart is about 460 (from memory), so some 4 % in 20 checks."""
    chance = np.random.default_rng(3)
    warned = sum(early_warning(points(chance.normal(0.4, 0.05, 21))) is not None for _ in range(1000))
    assert 0.01 <= warned / 1000 <= 0.07


def test_a_slow_drift_is_told_long_before_it_leaves_tolerance():
    chance = np.random.default_rng(3)
    drifting = [early_warning(points(0.02 * np.arange(40) + chance.normal(0, 0.05, 40))) for _ in range(200)]
    assert None not in drifting
    assert np.median(drifting) <= 14  # an error of 0.28 °C


def test_an_adjustment_begins_anew():
    moved = [0.0] * 5 + [0.5] * 5
    assert early_warning(points(moved)) == 5
    assert early_warning(points(moved, adjusted={5})) is None
    assert early_warning(points(moved), since=5) is None
    assert early_warning(points([*moved, 1.0], adjusted={5})) == 10


def test_two_points_are_too_few_for_a_warning():
    assert early_warning(points([0, 5])) is None
    assert early_warning(points([0, 0, 5])) == 2


@pytest.mark.parametrize("sigma", [0, -1, inf, nan])
def test_a_spread_that_is_none_is_refused(sigma):
    with pytest.raises(ValueError, match="sigma and the width above zero"):
        ewma([1], 0, sigma)
    with pytest.raises(ValueError, match="sigma and the width above zero"):
        ewma([1], 0, 1, width=sigma)


@pytest.mark.parametrize("weight", [0, 1.01, nan])
def test_a_weight_out_of_range_is_refused(weight):
    with pytest.raises(ValueError, match="weight above 0 and at most 1"):
        ewma([1], 0, 1, weight)


def test_values_that_are_no_numbers_are_refused():
    with pytest.raises(ValueError, match="finite numbers"):
        ewma([1, nan], 0, 1)
