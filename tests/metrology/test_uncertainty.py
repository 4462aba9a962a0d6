"""Budgets against published worked examples, against the `uncertainties` package and against simulation.

"Seen" figures were read in the source or a public copy; those "from memory" were recomputed.
"""

from math import inf, nan, sqrt
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import trapezoid
from uncertainties import ufloat

from compliance.metrology.uncertainty import (
    Distribution,
    combine,
    digit,
    normal,
    rectangular,
)

widths = st.floats(1e-4, 10)
components = st.one_of(
    widths.map(lambda width: rectangular("box", width, "given")),
    widths.map(lambda standard: normal("bell", standard, "given")),
)
budgets = st.lists(components, min_size=1, max_size=8)


def test_a_rectangular_temperature_as_in_the_gum():
    """JCGM 100:2008, 4.4.5: a temperature known to lie within ±4 °C has u = 2.3 °C (from memory, recomputed)."""
    assert rectangular("temperature", 4, "bounds").standard == pytest.approx(2.3, abs=0.05)


def test_the_resolution_of_a_display_as_in_the_gum():
    """JCGM 100:2008, F.2.2.1: u = 0.29 δx (seen)."""
    part = digit("display", 1.0, "steps of 1 °C")
    assert part.standard == pytest.approx(0.29, abs=0.005)
    assert part.value == 0.5


def test_one_dominant_rectangle_as_in_ea_4_02():
    """EA-4/02 M:2022, S9, in V: ±0.05 dominates 0.001 and ±0.011; U 0.05 (from memory, recomputed).

    The document takes k = 1.65 as if nothing else were there; with the small components it is 1.71, by simulation too.
    """
    parts = [rectangular("digit", 0.05, ""), normal("standard", 0.001, ""), rectangular("drift", 0.011, "")]
    budget = combine(parts)
    assert combine(parts[:1]).coverage_factor == pytest.approx(1.65, abs=0.006)
    assert budget.coverage_factor == pytest.approx(1.71, abs=0.005)
    assert budget.expanded == pytest.approx(0.05, abs=0.002)


def test_two_dominant_rectangles_as_in_ea_4_02():
    """EA-4/02 M:2022, S10, in µm: ±25 and ±50 dominate 0.46 and 2.0; u 33, k 1.83, U 60 (from memory, recomputed)."""
    parts = [normal("a", 0.46, ""), normal("b", 2.0, ""), rectangular("c", 25, ""), rectangular("d", 50, "")]
    budget = combine(parts)
    assert budget.combined == pytest.approx(33, abs=1)
    assert budget.coverage_factor == pytest.approx(1.83, abs=0.005)
    assert budget.expanded == pytest.approx(60, abs=1)


COVERAGES = (0.68, 0.95, 0.99)


def drawn(parts) -> list[float]:
    """The half-widths that hold these shares of a million draws: JCGM 101:2008, 7, with a fixed seed."""
    chance, total = np.random.default_rng(101), np.zeros(1_000_000)
    for part in parts:
        if part.distribution is Distribution.RECTANGULAR:
            total += chance.uniform(-part.value, part.value, total.size)
        else:
            total += chance.normal(0, part.standard, total.size)
    return np.quantile(np.abs(total), COVERAGES).tolist()


@pytest.mark.parametrize(
    ("parts", "published"),
    [
        ([normal(name, 1.0, "") for name in "abcd"], 3.92),
        ([rectangular(name, sqrt(3), "") for name in "abcd"], 3.88),
        ([*(rectangular(name, sqrt(3), "") for name in "abc"), rectangular("d", 10 * sqrt(3), "")], 17.0),
    ],
    ids=["four normal", "four rectangular", "one that dominates"],
)
def test_additive_models_as_in_jcgm_101(parts, published):
    """JCGM 101:2008, 9.2.2 to 9.2.4: half-widths of the shortest 95 % interval (from memory, recomputed).

    For four rectangles it is 2√3·(2 - (3/5)^¼) = 3.88, and for the third the t alone would give 19.9.
    """
    assert combine(parts).expanded == pytest.approx(published, rel=0.002)


MIXED = {
    "a good check": [
        rectangular("bath", 0.01, ""),
        digit("display", 0.1, ""),
        rectangular("settling", 0.02, ""),
        normal("stem", 0.01, ""),
    ],
    "a coarse display": [rectangular("bath", 0.01, ""), digit("display", 1.0, ""), normal("stem", 0.01, "")],
    "as wide as each other": [rectangular("box", 1.0, ""), normal("bell", 1 / sqrt(3), "")],
    "neither dominates": [rectangular("box", 1.0, ""), normal("bell", 0.2, "")],
    "many boxes": [rectangular(str(n), 0.1 * n, "") for n in range(1, 7)],
    "a scatter of ten": [digit("display", 0.1, ""), digit("reference", 0.1, ""), normal("scatter", 0.1, "")],
    "bells only": [normal("one", 0.3, ""), normal("other", 0.4, "")],
    "a trace of a bell": [rectangular("box", 1.0, ""), normal("bell", 1e-5, "")],
    "a trace of a box": [rectangular("box", 1e-5, ""), normal("bell", 1.0, "")],
}


@pytest.mark.parametrize("name", MIXED)
def test_the_expanded_uncertainty_agrees_with_the_propagation_of_distributions(name):
    """JCGM 101:2008: a million draws from each component."""
    found = [combine(MIXED[name], coverage).expanded for coverage in COVERAGES]
    assert found == pytest.approx(drawn(MIXED[name]), rel=0.006)


def test_the_spread_gives_the_probability_on_either_side():
    """A rectangle of ±1 alone: P(X ≤ 0.5) = 0.75; a normal alone: Φ(1) = 0.8413 (JCGM 100:2008, table G.1, from memory)."""
    assert combine([rectangular("box", 1.0, "")]).spread.cdf(0.5) == pytest.approx(0.75)
    assert combine([normal("bell", 2.0, "")]).spread.cdf(2.0) == pytest.approx(0.8413, abs=0.00005)


@pytest.mark.parametrize(("coverage", "published"), [(0.95, 1.960), (0.9545, 2.000), (0.99, 2.576)])
def test_coverage_factors_of_normal_components_as_tabled_in_the_gum(coverage, published):
    """JCGM 100:2008, table G.1 (from memory)."""
    assert combine([normal("one", 0.3, ""), normal("other", 0.4, "")], coverage).coverage_factor == pytest.approx(
        published, abs=0.0005
    )


@given(budgets)
def test_the_factor_lies_between_that_of_a_rectangle_and_that_of_a_normal(parts):
    assert 0.95 * sqrt(3) * 0.999 <= combine(parts).coverage_factor <= 1.961 * 1.001


@given(budgets)
def test_the_combined_uncertainty_agrees_with_the_uncertainties_package(parts):
    independent = sum(ufloat(0, part.standard) for part in parts)
    assert combine(parts).combined == pytest.approx(independent.std_dev, rel=1e-9)


@given(widths, widths)
def test_two_rectangles_alone_are_covered_exactly(one, other):
    """Against the trapezoid of scipy.stats, which knows nothing of EA-4/02."""
    budget = combine([rectangular("one", one, ""), rectangular("other", other, "")])
    edge = abs(one - other) / (one + other)
    outer = one + other
    shape = trapezoid((1 - edge) / 2, (1 + edge) / 2, loc=-outer, scale=2 * outer)
    assert shape.cdf(budget.expanded) - shape.cdf(-budget.expanded) == pytest.approx(0.95, abs=0.0005)


@given(budgets, widths)
def test_another_component_never_makes_a_budget_narrower(parts, width):
    assert combine([*parts, rectangular("more", width, "")]).expanded >= combine(parts).expanded * 0.998


@given(budgets, st.floats(0, 30))
def test_the_spread_is_symmetric_and_grows(parts, value):
    spread = combine(parts).spread
    assert spread.cdf(value) + spread.cdf(-value) == pytest.approx(1, abs=1e-6)
    assert spread.cdf(value) <= spread.cdf(value * 1.1 + 0.01) + 1e-12


@given(st.lists(widths, min_size=1, max_size=7), st.floats(0.5, 0.999))
def test_rectangles_never_reach_beyond_their_sum(half_widths, coverage):
    expanded = combine([rectangular("box", width, "") for width in half_widths], coverage).expanded
    assert expanded <= sum(half_widths) * (1 + 1e-6)


@given(budgets, st.randoms(use_true_random=False))
def test_the_order_of_the_components_does_not_matter(parts, chance: Random):
    shuffled = chance.sample(parts, len(parts))
    assert combine(shuffled).expanded == pytest.approx(combine(parts).expanded, rel=1e-9)


@given(st.floats(1e-9, 1e3), budgets)
def test_a_budget_in_other_units_is_the_same_budget(scale, parts):
    scaled = [
        rectangular("box", part.value * scale, "")
        if part.distribution is Distribution.RECTANGULAR
        else normal("bell", part.value * scale, "")
        for part in parts
    ]
    assert combine(scaled).expanded == pytest.approx(scale * combine(parts).expanded, rel=1e-6)


def test_nothing_uncertain_gives_no_uncertainty():
    budget = combine([rectangular("bath", 0, "exact")])
    assert (budget.combined, budget.expanded) == (0, 0)


@pytest.mark.parametrize("width", [-0.1, nan, inf])
@pytest.mark.parametrize("kind", [rectangular, digit, normal])
def test_a_width_must_be_a_number_of_zero_or_more(kind, width):
    with pytest.raises(ValueError, match="bath: give a width of zero or more"):
        kind("bath", width, "")


def test_an_empty_budget_is_refused():
    with pytest.raises(ValueError, match="at least one component"):
        combine([])


@pytest.mark.parametrize("coverage", [0.49, 0.9995, nan])
def test_a_coverage_out_of_range_is_refused(coverage):
    with pytest.raises(ValueError, match=r"from 0\.5 to 0\.999"):
        combine([rectangular("bath", 0.05, "")], coverage)
