"""What in the water lowers the ice point, against tabled depressions and physical constants."""

from math import nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.metrology.contamination import (
    CRYOSCOPIC,
    Plausibility,
    ethanol_for,
    explain_low,
    osmotic_coefficient,
    salt_for,
)

depressions = st.floats(1e-4, 5)


def test_the_cryoscopic_constant_is_that_of_water():
    """R·T²·M/L with R 8.314463 J/(mol·K), T 273.15 K, M 0.018015 kg/mol and L 6009.5 J/mol (from memory, computed)."""
    computed = 8.314463 * 273.15**2 * 0.018015 / 6009.5
    assert computed == pytest.approx(CRYOSCOPIC, abs=0.005)


def test_a_hundredth_of_a_degree_takes_a_quarter_gram_of_alcohol_or_a_sixth_of_salt():
    """0.248 g/kg of ethanol, 0.160 g/kg of salt with its activity (computed)."""
    assert ethanol_for(0.01) == pytest.approx(0.248, abs=0.0005)
    assert salt_for(0.01) == pytest.approx(0.160, abs=0.0005)


@pytest.mark.parametrize(("molality", "depression"), [(0.01, 0.0361), (0.1, 0.347), (0.5, 1.69), (1.0, 3.37)])
def test_salt_as_tabled(molality, depression):
    """Handbook depressions of the freezing point of sodium chloride in water, K at mol/kg (from memory)."""
    assert salt_for(depression) == pytest.approx(58.44 * molality, rel=0.005 if molality < 1 else 0.012)


@pytest.mark.parametrize(("molality", "tabled"), [(0.001, 0.988), (0.01, 0.968), (0.1, 0.93), (0.5, 0.91)])
def test_the_osmotic_coefficient_of_salt(molality, tabled):
    """Near 0 °C (from memory, of tables of freezing points)."""
    assert osmotic_coefficient(molality) == pytest.approx(tabled, abs=0.01)


def test_without_salt_the_coefficient_is_one():
    assert osmotic_coefficient(0) == 1


@given(depressions, depressions)
def test_more_cold_takes_more(one, other):
    less, more = sorted((one, other))
    assert salt_for(less) <= salt_for(more) * (1 + 1e-9)
    assert explain_low(less).ethanol <= explain_low(more).ethanol


@given(depressions)
def test_salt_acts_by_two_ions_that_hinder_each_other(depression):
    assert 1 <= salt_for(depression) / (58.44 * depression / 1.86 / 2) <= 1.15


@pytest.mark.parametrize(
    ("depression", "plausibility", "words"),
    [
        (0.01, Plausibility.LIKELY, "a pinch"),
        (0.02, Plausibility.LIKELY, "Tap water"),
        (0.1, Plausibility.POSSIBLE, "1.6 g of salt (half a teaspoon)"),
        (0.35, Plausibility.ADDED, "6 g of salt (1 teaspoon) or 9 g of alcohol (25 ml of spirits)"),
        (0.8, Plausibility.ADDED, "14 g of salt (2.5 teaspoons) or 20 g of alcohol (65 ml of spirits)"),
        (2.5, Plausibility.NO, "more than sea water holds"),
    ],
)
def test_it_is_told_in_spoons_with_what_to_do(depression, plausibility, words):
    """A teaspoon of salt is about 6 g: common practice, no source. The thresholds are judgement."""
    found = explain_low(depression)
    assert found.plausibility is plausibility
    assert words in " ".join(found.sentences)
    assert all(sentence.endswith(".") for sentence in found.sentences)


def test_tap_water_is_not_blamed_on_the_probe():
    """Ordinary tap water freezes at -0.01 to -0.02 °C (from memory)."""
    assert {explain_low(d).plausibility for d in (0.01, 0.015, 0.02)} == {Plausibility.LIKELY}


@pytest.mark.parametrize("depression", [0, -0.1, 5.01, nan])
def test_a_depression_out_of_range_is_refused(depression):
    with pytest.raises(ValueError, match="how far below 0 °C"):
        explain_low(depression)


@pytest.mark.parametrize("molality", [-0.1, 3.1, nan])
def test_a_molality_out_of_range_is_refused(molality):
    with pytest.raises(ValueError, match="mol/kg"):
        osmotic_coefficient(molality)
