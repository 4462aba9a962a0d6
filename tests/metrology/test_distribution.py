"""The distribution of a sum against scipy.stats: each on its own, and two where the sum is known in closed form."""

from math import comb, factorial, floor, inf, nan, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from compliance.metrology.distribution import Spread

widths = st.floats(1e-3, 100)


@given(widths, st.floats(0.5, 0.999))
def test_one_rectangle_is_uniform(width, coverage):
    assert Spread((width,), 0).half_width(coverage) == pytest.approx(width * coverage, rel=1e-6)


@given(widths, st.floats(0.5, 0.999))
def test_a_smooth_part_alone_is_normal(scale, coverage):
    assert Spread((), scale).half_width(coverage) == pytest.approx(scale * stats.norm.ppf((1 + coverage) / 2))


@pytest.mark.parametrize("count", [3, 4, 6])
@pytest.mark.parametrize("value", [0.1, 0.5, 1.2, 2.1])
def test_equal_rectangles_are_an_irwin_hall_sum(count, value):
    """Against the closed form (Irwin-Hall), recomputed here by its alternating sum."""
    x = (value + count) / 2  # the sum of `count` uniform numbers from 0 to 1
    known = sum((-1) ** k * comb(count, k) * (x - k) ** count for k in range(floor(x) + 1)) / factorial(count)
    assert Spread((1.0,) * count, 0).cdf(value) == pytest.approx(known, abs=2e-4)


@pytest.mark.parametrize("value", [-2.0, -0.3, 0.0, 0.8, 1.0, 1.7])
@pytest.mark.parametrize("scale", [0.05, 0.5, 3.0])
def test_a_rectangle_with_a_normal_has_a_closed_form(value, scale):
    """F(x) = scale/2·(G((x + 1)/scale) - G((x - 1)/scale)), G(z) = z·Φ(z) + φ(z), the integral of Φ."""

    def integral(z):
        return z * stats.norm.cdf(z) + stats.norm.pdf(z)

    known = scale / 2 * (integral((value + 1) / scale) - integral((value - 1) / scale))
    assert Spread((1.0,), scale).cdf(value) == pytest.approx(known, abs=2e-5)


def test_nothing_spreads_over_nothing():
    still = Spread((), 0)
    assert (still.half_width(0.95), still.cdf(-1e-9), still.cdf(0)) == (0, 0, 1)
    assert (Spread((0.0,), 0).half_width(0.95), Spread((1.0,), 0.1).within(0)) == (0, 0)


def test_a_thousand_narrow_rectangles_are_as_good_as_normal():
    """Central limit: u is a·√(1000/3), JCGM 100:2008, G.2.2."""
    assert Spread((0.001,) * 1000, 0).half_width(0.95) == pytest.approx(1.95996 * 0.001 * sqrt(1000 / 3), rel=1e-4)


@pytest.mark.parametrize("half_widths", [(1.0, 7.0, 0.03125), (1.0, 0.3, 0.2), (5.0, 5.0, 5.0)])
def test_half_of_it_lies_on_either_side(half_widths):
    for scale in (0.0, 0.4):
        assert Spread(half_widths, scale).cdf(0) == pytest.approx(0.5, abs=1e-9)


@given(widths, widths, st.floats(1e-6, 1e6))
def test_another_unit_changes_nothing(width, scale, factor):
    one, other = Spread((width,), scale), Spread((width * factor,), scale * factor)
    assert other.half_width(0.95) == pytest.approx(factor * one.half_width(0.95), rel=1e-6)


@given(widths, st.floats(1e-9, 1e-3))
def test_a_trace_of_anything_moves_nothing(width, share):
    known = 0.95 * width
    assert Spread((width, width * share), 0).half_width(0.95) == pytest.approx(known, rel=0.002)
    assert Spread((width,), width * share).half_width(0.95) == pytest.approx(known, rel=0.002)


@given(widths, st.floats(0.01, 5))
def test_a_rectangle_and_a_bell_together_are_narrower_than_their_sum_and_wider_than_either(width, ratio):
    bell = 1.95996 * ratio * width
    found = Spread((width,), ratio * width).half_width(0.95)
    assert max(0.95 * width, bell) * 0.999 <= found <= (0.95 * width + bell) * 1.001
    assert found <= 1.961 * sqrt(width**2 / 3 + (ratio * width) ** 2)


@pytest.mark.parametrize(
    ("half_widths", "scale"),
    [((-1.0,), 1), ((nan,), 1), ((1.0,), inf), ((1.0,), -1)],
)
def test_a_spread_that_cannot_be_is_refused(half_widths, scale):
    with pytest.raises(ValueError, match="half-widths"):
        Spread(half_widths, scale)


@pytest.mark.parametrize("coverage", [0.49, 0.9991, nan])
def test_a_coverage_out_of_range_is_refused(coverage):
    with pytest.raises(ValueError, match=r"from 0\.5 to 0\.999"):
        Spread((1.0,), 1).half_width(coverage)
