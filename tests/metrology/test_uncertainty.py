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
    Budget,
    Distribution,
    combine,
    coverage_factor,
    digit,
    effective_degrees_of_freedom,
    normal,
    rectangular,
)

# JCGM 100:2008, 4.4.3, table 1: twenty readings of a temperature in °C (seen).

widths = st.floats(1e-4, 10)
components = st.one_of(
    widths.map(lambda width: rectangular("box", width, "given")),
    st.tuples(widths, st.integers(1, 60)).map(lambda given: normal("bell", given[0], "given", given[1])),
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


def test_three_relative_components_as_in_the_gum():
    """JCGM 100:2008, G.4.1: u 1.03 %, ν_eff 19.0, k 2.09, U 2.2 % (seen)."""
    budget = combine([normal("a", 0.25, "", 9), normal("b", 0.57, "", 4), normal("c", 0.82, "", 14)])
    assert budget.combined == pytest.approx(1.03, abs=0.005)
    assert budget.effective_degrees_of_freedom == pytest.approx(19.0, abs=0.05)
    assert budget.coverage_factor == pytest.approx(2.09, abs=0.005)
    assert budget.expanded == pytest.approx(2.2, abs=0.05)


def test_an_end_gauge_as_in_the_gum():
    """JCGM 100:2008, H.1, in nm: u 32, ν_eff 16.7 truncated to 16, k(99 %) 2.92, U 93 (from memory, recomputed)."""
    parts = [normal("l", 25, "", 18), normal("d", 9.7, "", 25.6), normal("a", 2.9, "", 50), normal("t", 16.6, "", 2)]
    budget = combine(parts, coverage=0.99)
    assert budget.combined == pytest.approx(32, abs=0.5)
    assert budget.effective_degrees_of_freedom == pytest.approx(16.7, abs=0.1)
    assert budget.coverage_factor == pytest.approx(2.92, abs=0.005)
    assert budget.expanded == pytest.approx(93, abs=1)


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


def ice_check() -> Budget:
    return combine(
        [
            rectangular("bath", 0.05, ""),
            digit("display", 0.1, ""),
            normal("repeatability", 0.05 / sqrt(3), "", 2),
            rectangular("settling", 0.02, ""),
            normal("stem", 0.01, ""),
            rectangular("drift", 0.05, ""),
        ]
    )


def test_the_budget_of_an_ice_check():
    """Computed by hand from JCGM 100:2008, 5.1.2 and G.4.1: u 0.0597 °C, ν_eff 36.6, k 2.03, U 0.121 °C by the t alone."""
    budget = ice_check()
    factor = coverage_factor(budget.effective_degrees_of_freedom)
    assert budget.combined == pytest.approx(0.0597, abs=0.00005)
    assert budget.effective_degrees_of_freedom == pytest.approx(36.6, abs=0.05)
    assert factor == pytest.approx(2.028, abs=0.0005)
    assert factor * budget.combined == pytest.approx(0.121, abs=0.0005)


def test_few_degrees_of_freedom_beside_rectangles_ask_for_more_than_the_t_of_all_together():
    """The same budget propagated by JCGM 101:2008 (scaled t with 2 degrees of freedom, 6.4.9): U is 0.156 °C,
    and 0.160 with the degrees of freedom of the normal components together truncated."""
    budget = ice_check()
    assert 0.995 <= budget.expanded / drawn(budget.components, 0.95) <= 1.04
    assert budget.expanded > 1.2 * coverage_factor(budget.effective_degrees_of_freedom) * budget.combined


def drawn(parts, coverage: float) -> float:
    """The half-width that holds this share of a million draws: JCGM 101:2008, 7, with a fixed seed."""
    chance, total = np.random.default_rng(101), np.zeros(1_000_000)
    for part in parts:
        if part.distribution is Distribution.RECTANGULAR:
            total += chance.uniform(-part.value, part.value, total.size)
        elif part.degrees_of_freedom < inf:
            total += part.standard * chance.standard_t(part.degrees_of_freedom, total.size)
        else:
            total += chance.normal(0, part.standard, total.size)
    return float(np.quantile(np.abs(total), coverage))


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
    "a scatter of four": [rectangular("box", 0.05, ""), normal("scatter", 0.03, "", 3)],
    "many boxes": [rectangular(str(n), 0.1 * n, "") for n in range(1, 7)],
    "a scatter of ten": [digit("display", 0.1, ""), digit("reference", 0.1, ""), normal("scatter", 0.1, "", 9)],
    "bells only": [normal("one", 0.3, ""), normal("other", 0.4, "")],
    "a trace of a bell": [rectangular("box", 1.0, ""), normal("bell", 1e-5, "")],
    "a trace of a box": [rectangular("box", 1e-5, ""), normal("bell", 1.0, "")],
}


@pytest.mark.parametrize("coverage", [0.68, 0.95, 0.99])
@pytest.mark.parametrize("name", MIXED)
def test_the_expanded_uncertainty_agrees_with_the_propagation_of_distributions(name, coverage):
    """JCGM 101:2008: a million draws from each component."""
    assert combine(MIXED[name], coverage).expanded == pytest.approx(drawn(MIXED[name], coverage), rel=0.006)


def test_the_spread_gives_the_probability_on_either_side():
    """A rectangle of ±1 alone: P(X ≤ 0.5) = 0.75; a normal alone: Φ(1) = 0.8413 (JCGM 100:2008, table G.1, from memory)."""
    assert combine([rectangular("box", 1.0, "")]).spread.cdf(0.5) == pytest.approx(0.75)
    assert combine([normal("bell", 2.0, "")]).spread.cdf(2.0) == pytest.approx(0.8413, abs=0.00005)
    assert combine([normal("t", 1.0, "", 1)]).spread.cdf(1.0) == pytest.approx(0.75)


def test_the_expanded_uncertainty_of_ice_checks_covers_95_in_100():
    """Many simulated checks with a fixed seed: three scattering readings each, the other terms drawn from their bounds."""
    chance, covered, checks = np.random.default_rng(11), 0, 1500
    boxes = [rectangular(name, width, "") for name, width in [("bath", 0.05), ("digit", 0.05), ("drift", 0.05)]]
    for _ in range(checks):
        readings = chance.normal(0, 0.05, 3)
        error = readings.mean() + sum(chance.uniform(-box.value, box.value) for box in boxes)
        covered += (
            abs(error)
            <= combine([*boxes, normal("repeatability", float(readings.std(ddof=1)) / sqrt(3), "", 2)]).expanded
        )
    assert 0.95 <= covered / checks <= 0.985


@pytest.mark.parametrize(
    ("freedom", "coverage", "published"),
    [
        (1, 0.95, 12.71),
        (2, 0.95, 4.30),
        (3, 0.95, 3.18),
        (5, 0.95, 2.57),
        (10, 0.95, 2.23),
        (20, 0.95, 2.09),
        (inf, 0.95, 1.960),
        (1, 0.9545, 13.97),
        (10, 0.9545, 2.28),
        (20, 0.9545, 2.13),
        (inf, 0.9545, 2.000),
        (1, 0.99, 63.66),
        (10, 0.99, 3.17),
        (inf, 0.99, 2.576),
    ],
)
def test_coverage_factors_as_tabled_in_the_gum(freedom, coverage, published):
    """JCGM 100:2008, table G.2 (the 95 % column seen, the others from memory)."""
    assert coverage_factor(freedom, coverage) == pytest.approx(published, abs=0.005)


def test_degrees_of_freedom_are_truncated_but_never_below_one():
    """JCGM 100:2008, G.4.1: to the next lower whole number."""
    assert coverage_factor(10.8) == coverage_factor(10)
    assert coverage_factor(0.4) == coverage_factor(1)


@pytest.mark.parametrize("freedom", [1e6, 1e19, 1e300])
def test_many_degrees_of_freedom_are_as_good_as_no_end_of_them(freedom):
    assert coverage_factor(freedom) == pytest.approx(coverage_factor(inf), abs=1e-5)


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


@given(budgets)
def test_the_factor_lies_between_that_of_a_rectangle_and_that_of_the_worst_t(parts):
    freedom = [part.degrees_of_freedom for part in parts if part.degrees_of_freedom < inf]
    worst = coverage_factor(min(freedom, default=inf))
    assert 0.95 * sqrt(3) * 0.999 <= combine(parts).coverage_factor <= max(worst, 1.961) * 1.001


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


@given(budgets)
def test_effective_degrees_of_freedom_lie_between_the_fewest_and_the_sum(parts):
    """JCGM 100:2008, G.4.1: ν_eff ≤ Σν."""
    freedom = [part.degrees_of_freedom for part in parts]
    effective = effective_degrees_of_freedom(parts)
    assert min(freedom) * (1 - 1e-9) <= effective <= sum(freedom) * (1 + 1e-9)


@given(st.floats(1e-9, 1e3), budgets)
def test_a_budget_in_other_units_is_the_same_budget(scale, parts):
    scaled = [
        rectangular("box", part.value * scale, "")
        if part.distribution is Distribution.RECTANGULAR
        else normal("bell", part.value * scale, "", part.degrees_of_freedom)
        for part in parts
    ]
    assert combine(scaled).expanded == pytest.approx(scale * combine(parts).expanded, rel=1e-6)


def test_nothing_uncertain_gives_no_uncertainty():
    budget = combine([rectangular("bath", 0, "exact")])
    assert (budget.combined, budget.expanded) == (0, 0)
    assert budget.effective_degrees_of_freedom == inf


@pytest.mark.parametrize("width", [-0.1, nan, inf])
@pytest.mark.parametrize("kind", [rectangular, digit, normal])
def test_a_width_must_be_a_number_of_zero_or_more(kind, width):
    with pytest.raises(ValueError, match="bath: give a width of zero or more"):
        kind("bath", width, "")


@pytest.mark.parametrize("freedom", [0, -1, nan])
def test_degrees_of_freedom_are_above_zero(freedom):
    with pytest.raises(ValueError, match="degrees of freedom above zero"):
        normal("bath", 0.1, "", freedom)


def test_an_empty_budget_is_refused():
    with pytest.raises(ValueError, match="at least one component"):
        combine([])


@pytest.mark.parametrize("coverage", [0.49, 0.9995, nan])
def test_a_coverage_out_of_range_is_refused(coverage):
    with pytest.raises(ValueError, match=r"from 0\.5 to 0\.999"):
        combine([rectangular("bath", 0.05, "")], coverage)
