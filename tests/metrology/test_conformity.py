"""Verdicts at their boundaries, and probabilities against the examples of JCGM 106."""

from math import inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.metrology.conformity import DecisionRule, Zone, judge_conformity, probability_of_conformity
from compliance.metrology.vocabulary import Verdict

PASSED, FAILED, UNSURE = Verdict.IN_TOLERANCE, Verdict.OUT_OF_TOLERANCE, Verdict.INCONCLUSIVE
errors = st.floats(-3, 3)
spreads = st.floats(0, 3)
tolerances = st.floats(0.1, 2)
rules = st.sampled_from(DecisionRule)


def judge(error, expanded, tolerance=1.0, rule=DecisionRule.NON_BINARY):
    return judge_conformity(error, expanded, expanded / 2, tolerance, rule)


@pytest.mark.parametrize(
    ("value", "standard", "lower", "upper", "published"),
    [(-5.47, 0.05, -inf, -5.40, 0.919), (509.7, 8.6, 490, inf, 0.989), (13.6, 1.8, 12.5, 16.3, 0.66)],
)
def test_the_probability_of_conformity_as_in_jcgm_106(value, standard, lower, upper, published):
    """JCGM 106:2012, examples of clause 7 (from memory, recomputed)."""
    digits = len(str(published)) - 2
    assert round(probability_of_conformity(value, standard, lower, upper), digits) == published


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(
    ("error", "zone", "verdict"),
    [
        (0.0, Zone.PASS, PASSED),
        (0.7, Zone.PASS, PASSED),  # the end point of the acceptance zone belongs to it
        (0.701, Zone.CONDITIONAL_PASS, PASSED),
        (1.0, Zone.CONDITIONAL_PASS, PASSED),  # and so does the tolerance limit
        (1.001, Zone.CONDITIONAL_FAIL, FAILED),
        (1.3, Zone.CONDITIONAL_FAIL, FAILED),
        (1.301, Zone.FAIL, FAILED),
    ],
)
def test_the_four_zones_and_their_end_points(error, zone, verdict, sign):
    """ILAC-G8:09/2019, 4.2.3, with a guard band of U = 0.3 beside a tolerance of ±1."""
    found = judge(sign * error, 0.3)
    assert (found.zone, found.verdict) == (zone, verdict)


@pytest.mark.parametrize(
    ("rule", "error", "verdict"),
    [
        (DecisionRule.SIMPLE, 1.0, PASSED),
        (DecisionRule.SIMPLE, 1.001, FAILED),
        (DecisionRule.GUARDED, 0.7, PASSED),
        (DecisionRule.GUARDED, 0.701, FAILED),
        (DecisionRule.NON_BINARY, 0.701, PASSED),
    ],
)
def test_each_rule_at_its_own_limit(rule, error, verdict):
    """ILAC-G8:09/2019, 4.2.1 (simple), 4.2.2 (guard band), 4.2.3 (non-binary)."""
    assert judge(error, 0.3, rule=rule).verdict is verdict


def test_the_dust_of_binary_arithmetic_turns_nothing():
    assert sum([0.1] * 3) > 0.3
    assert judge(sum([0.1] * 3), 0.0, tolerance=0.3).verdict is PASSED
    assert judge(0.3, 0.1 + 0.2, tolerance=0.6).zone is Zone.PASS
    assert judge(0.0, 0.1 + 0.2, tolerance=0.3).verdict is PASSED
    assert judge(0.300001, 0.0, tolerance=0.3).verdict is FAILED


def test_an_uncertainty_as_large_as_the_tolerance_still_tells_and_a_larger_one_does_not():
    assert judge(0.0, 1.0).verdict is PASSED
    assert judge(0.0, 1.001).verdict is UNSURE
    assert judge(0.0, 1.001, rule=DecisionRule.GUARDED).verdict is UNSURE
    assert judge(0.0, 1.001, rule=DecisionRule.SIMPLE).verdict is PASSED


def test_a_gross_error_fails_however_uncertain_the_check():
    """Beyond tolerance + U: the probe is out whatever the error of the check."""
    assert judge(2.6, 1.5).verdict is FAILED
    assert judge(2.4, 1.5).verdict is UNSURE


def test_a_gross_error_is_told_without_a_doubt():
    assert "beyond tolerance" in judge(2.6, 1.5).why
    assert "cannot tell" in judge(2.4, 1.5).why


@pytest.mark.parametrize("zone_error", [0.0, 0.9, 1.1, 2.0])
@pytest.mark.parametrize("rule", DecisionRule)
def test_the_words_agree_with_the_verdict(rule, zone_error):
    found = judge(zone_error, 0.3, rule=rule)
    assert ("within tolerance" in found.why) == (zone_error <= 1.0)
    assert found.why.endswith(".")


def test_a_conditional_pass_says_to_check_again_soon():
    assert "Check again soon." in judge(0.9, 0.3).why
    assert "Check again" not in judge(0.5, 0.3).why
    assert "Check again" not in judge(0.9, 0.3, rule=DecisionRule.SIMPLE).why


def test_simple_acceptance_may_be_wrong_half_the_time_and_guarded_hardly():
    """ILAC-G8:09/2019, table 1: a wrong pass at the acceptance limit up to 50 % (simple) and 2.5 % (w = U)."""
    simple = judge_conformity(1.0, 0.2, 0.2 / 1.96, 1.0, DecisionRule.SIMPLE)
    guarded = judge_conformity(0.8, 0.2, 0.2 / 1.96, 1.0, DecisionRule.GUARDED)
    assert simple.verdict is guarded.verdict is PASSED
    assert 1 - simple.probability_in_tolerance == pytest.approx(0.5, abs=1e-6)
    assert 1 - guarded.probability_in_tolerance == pytest.approx(0.025, abs=1e-4)


@given(errors, spreads, spreads, tolerances, rules)
def test_a_larger_uncertainty_never_turns_a_fail_into_a_pass(error, one, other, tolerance, rule):
    sharp, blurred = judge(error, min(one, other), tolerance, rule), judge(error, max(one, other), tolerance, rule)
    if sharp.verdict is FAILED:
        assert blurred.verdict is not PASSED
    if sharp.verdict is UNSURE:
        assert blurred.verdict is UNSURE


@given(errors, errors, spreads, tolerances, rules)
def test_a_larger_error_never_fares_better(one, other, expanded, tolerance, rule):
    near, far = sorted((one, other), key=abs)
    grave = [PASSED, UNSURE, FAILED]
    found = [grave.index(judge(error, expanded, tolerance, rule).verdict) for error in (near, far)]
    assert found[0] <= found[1]


@given(errors, spreads, tolerances, rules)
def test_the_sign_of_the_error_does_not_matter(error, expanded, tolerance, rule):
    above, below = judge(error, expanded, tolerance, rule), judge(-error, expanded, tolerance, rule)
    assert above.verdict is below.verdict
    assert above.probability_in_tolerance == pytest.approx(below.probability_in_tolerance, abs=1e-12)


def test_without_uncertainty_the_probability_is_all_or_nothing():
    assert probability_of_conformity(1.0, 0, -1, 1) == 1
    assert probability_of_conformity(1.1, 0, -1, 1) == 0


@pytest.mark.parametrize(
    ("error", "expanded", "standard", "tolerance"),
    [(nan, 0.1, 0.05, 1), (0, inf, 0.05, 1), (0, -0.1, 0.05, 1), (0, 0.1, -0.05, 1), (0, 0.1, 0.05, 0)],
)
def test_figures_that_cannot_be_are_refused(error, expanded, standard, tolerance):
    with pytest.raises(ValueError, match="°C"):
        judge_conformity(error, expanded, standard, tolerance)


@pytest.mark.parametrize(("standard", "lower", "upper"), [(-0.1, -1, 1), (0.1, 1, -1), (nan, -1, 1)])
def test_a_probability_needs_a_spread_and_limits_in_order(standard, lower, upper):
    with pytest.raises(ValueError, match="standard uncertainty of zero or more"):
        probability_of_conformity(0, standard, lower, upper)
