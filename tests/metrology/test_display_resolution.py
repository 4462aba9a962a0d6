"""What a display of whole digits leaves open."""

from math import sqrt
from statistics import stdev

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.metrology.display_resolution import LARGEST_FLICKER, LONE_SCATTER, UNSEEN_SCATTER, display_components
from compliance.metrology.uncertainty import Distribution


def lines(*settled: float, resolution: float = 1.0) -> dict[str, tuple[float, Distribution]]:
    parts = display_components(settled, resolution)
    return {part.name: (part.value, part.distribution) for part in parts}


def test_equal_digits_leave_half_a_digit_and_may_hide_a_scatter():
    """JCGM 100:2008, F.2.2.1: δ/2 as half-width."""
    assert lines(0.2, 0.2, 0.2, 0.2, resolution=0.1) == {
        "display": (pytest.approx(0.05), Distribution.RECTANGULAR),
        "repeatability": (pytest.approx(0.1 * UNSEEN_SCATTER / 2), Distribution.NORMAL),
    }


def test_one_reading_may_hide_the_most():
    assert lines(3.0)["repeatability"][0] == pytest.approx(LONE_SCATTER)


def test_an_even_flicker_stands_at_the_edge_between_two_digits():
    parts = lines(0.0, 1.0, 0.0, 1.0)
    assert parts["display"][0] == 0
    assert parts["repeatability"][0] == pytest.approx(LARGEST_FLICKER / 2)


def test_an_uneven_flicker_is_taken_by_the_rule_of_succession():
    """One of six: (1 + 1)/(6 + 2) = 1/4, a quarter of a digit from the edge (computed)."""
    parts = lines(0, 0, 0, 0, 0, 1)
    assert parts["display"][0] == pytest.approx(0.25)
    assert parts["repeatability"][0] == pytest.approx(stdev([0, 0, 0, 0, 0, 1]) / sqrt(6))


@given(st.integers(1, 100), st.integers(1, 100), st.sampled_from([0.1, 1.0]))
def test_a_flicker_never_says_less_than_equal_digits(low, high, resolution):
    flicker = lines(*[0.0] * low, *[resolution] * high, resolution=resolution)
    assert flicker["display"][0] < resolution / 2
    assert flicker["repeatability"][0] <= LARGEST_FLICKER * resolution / sqrt(low + high) + 1e-12


@pytest.mark.parametrize(("settled", "resolution"), [([], 0.1), ([0.1], 0)])
def test_nothing_to_go_by_is_refused(settled, resolution):
    with pytest.raises(ValueError, match="at least one settled reading"):
        display_components(settled, resolution)
