"""Verdicts at their boundaries, and probabilities against the examples of JCGM 106."""

from math import inf, nan, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.metrology.conformity import (
    DecisionRule,
    Zone,
    judge_conformity,
    told_risk,
)
from compliance.metrology.distribution import Spread
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
    digits, spread = len(str(published)) - 2, Spread((), standard)
    assert round(spread.cdf(upper - value) - spread.cdf(lower - value), digits) == published


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


def test_a_conditional_pass_says_that_the_uncertainty_is_larger_than_the_room():
    assert "less than the uncertainty" in judge(0.9, 0.3).why
    assert "less than the uncertainty" not in judge(0.5, 0.3).why
    assert "less than the uncertainty" not in judge(0.9, 0.3, rule=DecisionRule.SIMPLE).why


def test_simple_acceptance_may_be_wrong_half_the_time_and_guarded_hardly():
    """ILAC-G8:09/2019, table 1: a wrong pass at the acceptance limit up to 50 % (simple) and 2.5 % (w = U)."""
    simple = judge_conformity(1.0, 0.2, 0.2 / 1.96, 1.0, DecisionRule.SIMPLE)
    guarded = judge_conformity(0.8, 0.2, 0.2 / 1.96, 1.0, DecisionRule.GUARDED)
    assert simple.verdict is guarded.verdict is PASSED
    assert 1 - simple.probability_in_tolerance == pytest.approx(0.5, abs=1e-6)
    assert 1 - guarded.probability_in_tolerance == pytest.approx(0.025, abs=1e-4)


@pytest.mark.parametrize(("error", "risk"), [(0.8, 0.0228), (1.2, 0.0228), (-1.2, 0.0228), (1.0, 0.5), (0.9, 0.1587)])
def test_the_risk_is_that_of_the_verdict_given(error, risk):
    """JCGM 106:2012, 9.3.2: 1 - p for an acceptance, p for a rejection; U = 0.2 with k = 2, Φ(-2), Φ(-1), Φ(0)."""
    assert judge(error, 0.2).risk == pytest.approx(risk, abs=0.00005)


def test_who_claims_nothing_is_not_wrong():
    assert judge(0.0, 1.5).risk == 0


@given(errors, spreads, tolerances, rules)
def test_a_risk_and_its_verdict_agree_with_the_probability(error, expanded, tolerance, rule):
    found = judge(error, expanded, tolerance, rule)
    assert 0 <= found.risk <= 1
    if found.verdict is PASSED:
        assert found.risk == pytest.approx(1 - found.probability_in_tolerance)
    if found.verdict is FAILED:
        assert found.risk == found.probability_in_tolerance


@given(errors, st.floats(0, 0.9), rules)
def test_only_the_usual_rule_passes_under_a_condition(error, expanded, rule):
    found = judge(error, expanded, rule=rule)
    within = found.verdict is PASSED and found.zone is Zone.CONDITIONAL_PASS
    assert found.conditional is (within and rule is DecisionRule.NON_BINARY)


@given(st.floats(-1, 1), st.floats(0.01, 1))
def test_under_guarded_acceptance_a_wrong_pass_stays_under_one_in_forty(error, expanded):
    """ILAC-G8:09/2019, table 1: below 2.5 % with w = U at 95 % coverage; with U near the tolerance, on each side."""
    found = judge_conformity(error, expanded, expanded / 1.959964, 1.0, DecisionRule.GUARDED)
    if found.verdict is PASSED:
        assert found.risk <= (0.025 if expanded <= 0.5 else 0.05) + 1e-6


def test_a_box_knows_its_bounds():
    """A display of whole degrees, ±0.5: an error of 0.4 lies within ±1 for sure; a normal of the same u leaves 2 %."""
    box = Spread((0.5,), 0.0)
    sure = judge_conformity(0.4, 0.475, 0.5 / sqrt(3), 1.0, spread=box)
    blurred = judge_conformity(0.4, 0.475, 0.5 / sqrt(3), 1.0)
    assert sure.risk == 0
    assert blurred.risk == pytest.approx(0.0188, abs=0.0005)


@pytest.mark.parametrize(
    ("risk", "told"),
    [
        (0.0, "less than 1 in 10,000"),
        (0.00009, "less than 1 in 10,000"),
        (0.0001, "1 in 10,000"),
        (0.005, "1 in 200"),
        (0.0051, "1 in 190"),
        (0.01, "1 in 100"),
        (0.025, "1 in 40"),
        (0.3, "1 in 3"),
        (0.5, "1 in 2"),
        (0.51, "more than 1 in 2"),
        (1.0, "more than 1 in 2"),
    ],
)
def test_a_risk_is_told_as_a_chance(risk, told):
    assert told_risk(risk) == told


@given(st.floats(0.0001, 0.5))
def test_a_told_risk_is_never_smaller_than_the_risk(risk):
    told = int(told_risk(risk).removeprefix("1 in ").replace(",", ""))
    assert 1 / told >= risk * (1 - 1e-6)
    assert told > 0.5 / risk


@pytest.mark.parametrize("risk", [-0.1, 1.1, nan])
def test_a_risk_out_of_range_is_refused(risk):
    with pytest.raises(ValueError, match="from 0 to 1"):
        told_risk(risk)


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


@pytest.mark.parametrize(
    ("error", "expanded", "standard", "tolerance"),
    [(nan, 0.1, 0.05, 1), (0, inf, 0.05, 1), (0, -0.1, 0.05, 1), (0, 0.1, -0.05, 1), (0, 0.1, 0.05, 0)],
)
def test_figures_that_cannot_be_are_refused(error, expanded, standard, tolerance):
    with pytest.raises(ValueError, match="°C"):
        judge_conformity(error, expanded, standard, tolerance)
