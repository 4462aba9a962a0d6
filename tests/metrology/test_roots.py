"""Roots against those that scipy finds."""

from math import atan, erf, expm1, sqrt

import pytest
from scipy.optimize import brentq

from compliance.metrology.roots import root

RISING = {
    "a straight line": (lambda x: x - 0.3, 0.0, 1.0),
    "a coverage": (lambda x: erf(x / sqrt(2)) - 0.95, 0.0, 4.0),
    "one close to all, far from the end": (lambda x: erf(x / sqrt(2)) - 0.999, 0.0, 40.0),
    "ever steeper": (lambda x: expm1(x) - 1000, 0.0, 50.0),
    "steep in the middle": (lambda x: atan(1e6 * (x - 0.7)), -3.0, 900.0),
    "at the lower end": (lambda x: x, 0.0, 5.0),
    "at the upper end": (lambda x: x - 5, 0.0, 5.0),
}


@pytest.mark.parametrize("function, low, high", RISING.values(), ids=RISING)
def test_it_is_what_scipy_finds_and_found_in_few_steps(function, low, high):
    asked = []

    def counted(value):
        asked.append(value)
        return function(value)

    found = root(counted, low, high, within=1e-9 * (high - low))
    assert found == pytest.approx(brentq(function, low, high, xtol=1e-13), abs=2e-9 * (high - low))
    assert all(low <= value <= high for value in asked)
    assert len(asked) <= 100


@pytest.mark.parametrize("function", [lambda x: x + 1, lambda x: x - 9, lambda x: 3 - x, lambda x: 0.0])
def test_where_it_does_not_rise_through_zero_it_is_refused(function):
    with pytest.raises(ValueError, match="rises through zero"):
        root(function, 0.0, 5.0, within=1e-9)
