"""One check from end to end: the figures, the verdict, and words that a cook can act on."""

from dataclasses import replace
from math import nan, sqrt
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from compliance.metrology.bath import BathKind, BathPoint, Preparation
from compliance.metrology.conduction import stem_error
from compliance.metrology.conformity import DecisionRule, Zone
from compliance.metrology.display_resolution import display_components
from compliance.metrology.settling import SettlingState, TimedValue
from compliance.metrology.verification import Instrument, Verification, judge_stated, verify_zero
from compliance.metrology.vocabulary import Medium, Sensor, Verdict

from .sheaths import lagging, tailed, thin, typed

PASSED, FAILED, UNSURE = Verdict.IN_TOLERANCE, Verdict.OUT_OF_TOLERANCE, Verdict.INCONCLUSIVE
ALL = frozenset(BathPoint)
GOOD = Preparation(kind=BathKind.PACKED_CRUSHED, points=ALL)
STIRRED = Preparation(kind=BathKind.STIRRED_CUBES, points=ALL)
STILL = Preparation(kind=BathKind.UNSTIRRED, points=ALL)
DRY = Preparation(kind=BathKind.PACKED_CRUSHED, points=ALL - {BathPoint.WETTED}, left=frozenset({BathPoint.WETTED}))
PROBE = Instrument(sensor=Sensor.THERMISTOR, resolution=0.1, tolerance=1.0)
TOO_FINE = replace(PROBE, resolution=1.0, tolerance=0.4)


def steady(value: float) -> list[TimedValue]:
    """A fall that ends at `value` and stands still for half a minute."""
    fall = [(3, 12.0), (9, 4.0), (15, 1.2), (21, 0.4)]
    moving = [TimedValue(elapsed=float(t), value=value + above) for t, above in fall]
    return [*moving, *(TimedValue(elapsed=float(t), value=value) for t in range(27, 75, 6))]


def verify(value=0.2, preparation=GOOD, instrument=PROBE, **how) -> Verification:
    return verify_zero(steady(value), preparation, instrument, **how)


# Figures


def test_the_error_is_reading_minus_reference():
    found = verify(-0.3)
    assert found.error == pytest.approx(-0.3)
    assert found.error == found.settling.value - found.reference.temperature


def test_the_budget_is_that_of_the_gum():
    """Recomputed by hand: bath 0.01/√3, settling a/√3, stem 0.01, and the display's own lines; JCGM 100:2008, 5.1.2."""
    found = verify()
    parts = {part.name: part.standard for part in found.budget.components}
    expected = {"bath": 0.01 / sqrt(3), "stem": 0.01, "settling": found.settling.residual / sqrt(3)}
    shown = {part.name: part.standard for part in display_components([0.2] * 8, 0.1)}
    assert parts == pytest.approx(expected | shown)
    assert found.budget.combined == pytest.approx(sqrt(sum(u * u for u in parts.values())))
    assert found.expanded == found.budget.expanded


def test_a_display_of_whole_degrees_dominates_a_good_check():
    """Where one rectangular term dominates, k comes near 0.95·√3 = 1.65, EA-4/02 M:2022, S9 (from memory)."""
    found = verify(0.0, instrument=replace(PROBE, resolution=1.0))
    assert 1.64 < found.budget.coverage_factor < 1.75
    assert found.expanded == pytest.approx(found.budget.coverage_factor * found.budget.combined)


def test_scatter_of_the_settled_readings_joins_the_budget():
    flicker = [replace(r, value=0.1) if r.elapsed in (39, 51, 63) else r for r in steady(0.2)]
    found = verify_zero(flicker, GOOD, PROBE)
    assert "repeatability" in {part.name for part in found.budget.components}


def test_three_flickering_readings_of_a_coarse_display_still_tell():
    values = (15, 3, 0, 1, 0, 1, 0)
    readings = [TimedValue(elapsed=8.0 * n, value=float(value)) for n, value in enumerate(values, start=1)]
    found = verify_zero(readings, GOOD, replace(PROBE, resolution=1.0, time_constant=4.0))
    assert "repeatability" in {part.name for part in found.budget.components}
    assert found.verdict is Verdict.IN_TOLERANCE


def test_a_worse_bath_gives_a_wider_uncertainty():
    hasty = Preparation(kind=BathKind.PACKED_CRUSHED, points=ALL - {BathPoint.CRUSHED})
    assert verify().expanded < verify(preparation=hasty).expanded < verify(preparation=STIRRED).expanded


@pytest.mark.parametrize(("less", "more"), [(40, 50), (20, 40), (0, 20)])
def test_a_shallow_probe_is_less_certain(less, more):
    assert verify(immersion_mm=less).expanded > verify(immersion_mm=more).expanded


def test_a_depth_of_50_mm_is_enough_for_a_thin_stem_but_not_for_a_thick_one():
    """50 mm in wet packed ice: common practice, no source. A depth that was measured is never worse than a confirmed one."""
    assert verify(immersion_mm=200).expanded <= verify(immersion_mm=50).expanded <= verify().expanded
    thick = replace(PROBE, stem_diameter=8.0)
    assert verify(immersion_mm=50, instrument=thick).expanded > 1.5 * verify(immersion_mm=80, instrument=thick).expanded


def test_a_measured_depth_enters_as_the_warmth_along_the_stem():
    found = verify(immersion_mm=40, instrument=replace(PROBE, stem_diameter=3.0))
    part = next(part for part in found.budget.components if part.name == "stem")
    assert part.value == pytest.approx(stem_error(40, 3.0, Medium.PACKED_ICE, 0.0))
    assert "40 mm deep" in part.why


def test_a_dial_thermometer_needs_more_depth_than_a_thin_probe():
    dial = replace(PROBE, sensor=Sensor.BIMETAL)
    assert verify(immersion_mm=50, instrument=dial).expanded > 2
    assert verify(immersion_mm=120, instrument=dial).expanded < 0.1


GLASS = replace(PROBE, sensor=Sensor.LIQUID_IN_GLASS, resolution=0.5)


def test_the_column_of_a_glass_thermometer_is_a_line_of_its_own_and_nothing_is_corrected():
    """12 degrees of alcohol (1/1000 per °C) in a room of 33 °C are 0.4 °C too much; common practice, no source."""
    found = verify(0.5, instrument=GLASS)
    assert found.error == pytest.approx(0.5)
    assert {"column"} == {part.name for part in found.budget.components} & {"column", "stem"}
    assert next(part.value for part in found.budget.components if part.name == "column") > 12 * 33 / 1000


def test_the_figures_say_the_numbers_in_words():
    error, settling, bath, probability, risk = verify(0.2).figures
    assert error.startswith("Error +0.20 °C, expanded uncertainty ±0.")
    assert error.endswith(f" °C (k = {verify(0.2).budget.coverage_factor:.2f}, 95 %).")
    assert settling.startswith("Mean of 8 readings since 27 s; at most 0.")
    assert bath == "The bath stands for 0 °C within 0.01 °C."
    assert probability == "Probability that the probe is in tolerance: 100.0 %."
    assert risk == f"{WRONG}: less than 1 in 10,000."


def test_the_risk_goes_by_the_shape_of_the_budget():
    """A display of whole degrees is off by half of one at most; a normal of its u would leave 1 in 1000 beyond ±1 °C."""
    found = verify(0.0, instrument=replace(PROBE, resolution=1.0))
    assert 2 * norm.sf(1 / found.budget.combined) > 2e-4
    assert found.conformity.risk < 1e-4


def test_a_bath_that_is_none_clears_nobody_under_a_condition():
    found = verify(1.0, preparation=DRY).conformity
    assert (found.verdict, found.conditional, found.risk) == (UNSURE, False, 0)


def test_at_the_very_edge_a_verdict_is_wrong_every_second_time():
    found = verify(1.0)
    assert found.conformity.risk == pytest.approx(0.5, abs=0.01)
    assert found.figures[-1] in (f"{WRONG}: 1 in 2.", f"{WRONG}: more than 1 in 2.")


WRONG = "The chance that this verdict is wrong, if the bath was made as ticked"


def test_a_check_that_says_nothing_of_the_probe_gives_no_chances():
    assert not [s for s in verify(preparation=DRY).figures if "robability" in s or "chance" in s]
    unsure = verify(0.0, instrument=TOO_FINE).figures
    assert [s for s in unsure if "Probability" in s]
    assert not [s for s in unsure if "wrong" in s]


def test_a_probe_that_fails_low_is_told_what_in_the_water_would_explain_it():
    """1.5 °C low takes 26 g of salt in a litre (computed): no badly rinsed cup holds that (judgement)."""
    told = words(verify(-1.5))
    assert "about 26 g of salt (4.5 teaspoons)" in told
    assert "Make the bath anew in a clean cup" in told and "drinking water, no salt" in told
    assert "salt" not in words(verify(1.5))


@pytest.mark.parametrize(("value", "told"), [(-0.3, True), (0.0, False), (0.3, False)])
def test_a_probe_that_passes_low_says_it_among_its_figures_only(value, told):
    assert any("of salt" in sentence for sentence in verify(value).figures) is told
    assert "salt" not in words(verify(value))


def test_the_uncertainty_is_never_rounded_down_in_words():
    found = verify()
    told = float(found.figures[0].split("±")[1].split()[0])
    assert found.expanded <= told < found.expanded + 0.01


# Verdicts and their words


def words(found: Verification) -> str:
    return " ".join(found.why)


def test_a_good_probe_may_be_used():
    found = verify(0.2)
    assert found.verdict is PASSED
    assert found.why[0] == "In tolerance: the probe may be used."
    assert found.why[1] == "It shows +0.2 °C in melting ice, where ±1.0 °C is allowed."


@pytest.mark.parametrize("rule", [DecisionRule.SIMPLE, DecisionRule.NON_BINARY])
def test_the_first_sentence_on_a_probe_near_its_edge_says_so(rule):
    assert verify(1.0, rule=rule).why[0] == (
        "In tolerance, but so near the edge that it may be out of tolerance: check it again soon."
    )


def test_a_probe_near_its_edge_passes():
    found = verify(1.0)
    assert (found.verdict, found.conformity.zone) == (PASSED, Zone.CONDITIONAL_PASS)
    assert "may be used" not in words(found)


@pytest.mark.parametrize(
    ("value", "preparation", "zone"),
    [(1.1, STIRRED, Zone.CONDITIONAL_FAIL), (1.5, GOOD, Zone.FAIL), (-1.5, GOOD, Zone.FAIL)],
)
def test_a_probe_beyond_tolerance_is_put_aside(value, preparation, zone):
    found = verify(value, preparation)
    assert (found.verdict, found.conformity.zone) == (FAILED, zone)
    assert found.why[0] == "Out of tolerance: stop using this probe."
    assert found.why[-1].startswith("Label it and put it aside.")
    assert "quarantine" in found.why[-1]


@pytest.mark.parametrize("value", [0.0, 5.0])
@pytest.mark.parametrize("preparation", [STILL, DRY, Preparation(kind=BathKind.UNCONFIRMED, points=ALL)])
def test_a_bath_that_is_no_ice_point_says_nothing_of_the_probe(preparation, value):
    found = verify(value, preparation)
    assert found.verdict is UNSURE
    assert found.why[0] == "Inconclusive: the bath does not stand for 0 °C, so this check says nothing about the probe."
    assert found.why[-1].startswith("Make the bath again with crushed, wetted, drained ice")


def test_a_bad_bath_says_what_was_wrong_with_it():
    assert "The ice was not wetted, and dry ice can be colder than 0 °C." in verify(preparation=DRY).why
    assert any("nobody stirs" in sentence for sentence in verify(preparation=STILL).why)


@pytest.mark.parametrize(
    ("count", "state", "todo"),
    [
        (0, SettlingState.TOO_FEW, "type a reading every few seconds until it has settled"),
        (3, SettlingState.FALLING, "until the display stands still, then check again"),
    ],
)
def test_a_probe_that_has_not_settled_stays_in_the_ice(count, state, todo):
    found = verify_zero(steady(0.2)[:count], GOOD, PROBE)
    assert (found.settling.state, found.verdict) == (state, UNSURE)
    assert (found.error, found.expanded, found.budget, found.conformity) == (None, None, None, None)
    assert found.why[0].startswith("Inconclusive: the probe had not settled")
    assert found.why[-1].startswith("Leave the probe in the ice")
    assert todo in found.why[-1]


def test_a_probe_that_drifts_away_is_told_what_to_put_right():
    warming = [*steady(0.2), *(TimedValue(elapsed=t, value=v) for t, v in [(90.0, 0.6), (110.0, 1.1)])]
    found = verify_zero(warming, GOOD, PROBE)
    assert (found.settling.value, found.verdict) == (None, UNSURE)
    assert found.why[-1] == found.settling.sentence
    assert "fresh ice" in found.why[-1]


def test_neither_settled_nor_a_bath_tells_both():
    found = verify_zero(steady(0.2)[:3], DRY, PROBE)
    assert "not settled" in found.why[0]
    assert "The ice was not wetted" in words(found)


@pytest.mark.parametrize(
    ("how", "todo"),
    [
        ({"instrument": TOO_FINE}, "use a probe with a finer display"),
        ({"preparation": STIRRED, "instrument": replace(PROBE, tolerance=0.15)}, "Make the bath again"),
        ({"immersion_mm": 5}, "Put the probe in deeper"),
    ],
)
def test_a_check_too_uncertain_to_tell_says_what_would_help_most(how, todo):
    found = verify(0.0, **how)
    assert found.verdict is UNSURE
    assert found.why[0] == "Inconclusive: this check is too uncertain to tell."
    assert todo in found.why[-1]


def test_one_hasty_reading_against_a_narrow_tolerance_asks_for_more():
    found = verify_zero([TimedValue(elapsed=90, value=0.1)], GOOD, replace(PROBE, tolerance=0.1))
    assert found.verdict is UNSURE
    assert "type more readings" in found.why[-1]
    assert "Mean of 1 reading since 90 s" in found.figures[1]


@pytest.mark.parametrize("rule", DecisionRule)
@given(value=st.integers(-300, 300), at=st.integers(90, 600))
def test_one_number_alone_fails_no_probe_and_a_second_like_it_may(value, at, rule):
    alone = [TimedValue(elapsed=float(at), value=value / 10)]
    found, both = (
        verify_zero(readings, GOOD, PROBE, rule=rule)
        for readings in (alone, [*alone, TimedValue(elapsed=at + 10.0, value=value / 10)])
    )
    assert found.verdict is not FAILED and found.settling.count == 1
    if both.verdict is FAILED:
        assert found.verdict is UNSURE
    if found.why[0] == "Inconclusive: one number alone fails no probe.":
        assert (found.conformity.risk, found.conformity.conditional) == (0.0, False)
        assert found.why[-1].startswith("Do not use it until it is checked again, with a second number")
    if abs(value) > 50:
        assert found.why[0].startswith("Inconclusive: one number alone") and both.verdict is FAILED


def test_one_number_may_pass_a_probe():
    assert verify_zero([TimedValue(elapsed=90, value=0.1)], GOOD, PROBE).verdict is PASSED


def test_a_display_of_whole_degrees_can_pass_a_tolerance_of_one_degree():
    assert verify(0.0, instrument=replace(PROBE, resolution=1.0)).verdict is PASSED


def test_the_words_never_round_a_failed_probe_to_its_tolerance():
    readings = [replace(r, value=r.value + 0.04) for r in steady(1.0)]
    found = verify_zero(readings, GOOD, replace(PROBE, resolution=0.01))
    assert found.verdict is FAILED
    assert found.why[1] == "It shows +1.04 °C in melting ice, where ±1.0 °C is allowed."


def test_a_tolerance_with_two_decimals_is_told_in_full():
    assert "±0.25 °C is allowed" in words(verify(0.0, instrument=replace(PROBE, tolerance=0.25)))


def test_the_guarded_rule_refuses_what_the_usual_rule_passes():
    assert verify(1.0).verdict is PASSED
    assert verify(1.0, rule=DecisionRule.GUARDED).verdict is FAILED


@pytest.mark.parametrize("found", [verify(v) for v in (0.0, 1.0, 1.1, 3.0)] + [verify(preparation=DRY)])
def test_every_sentence_is_a_sentence_and_free_of_jargon(found):
    assert all(s[0].isupper() and s.endswith(".") for s in found.why)
    jargon = ("sigma", "guard band", "residual", "degrees of freedom", "rectangular", "k =")
    assert not [word for word in jargon if word in words(found)]


# Against simulated probes


def test_a_probe_well_within_tolerance_never_fails_and_one_well_out_never_passes():
    """Simulated sheaths with true errors of ±0.5 and ±1.5 °C, tolerance ±1 °C: no verdict on the wrong side."""
    chance, verdicts = Random(4), {PASSED: 0, FAILED: 0, UNSURE: 0}
    for number in range(120):
        error = chance.choice([-1.5, -0.5, 0.5, 1.5])
        sheath = (thin, lagging, tailed)[number % 3](chance, error)
        found = verify_zero(typed(sheath, 0.1, chance, until=chance.uniform(20, 250)), GOOD, PROBE)
        verdicts[found.verdict] += 1
        assert found.verdict in (UNSURE, PASSED if abs(error) < 1 else FAILED)
    assert verdicts[PASSED] > 30
    assert verdicts[FAILED] > 30


def test_the_expanded_uncertainty_covers_the_true_error():
    """At least 95 in 100 simulated checks, as the coverage probability says."""
    chance, covered, checks = Random(6), 0, 200
    for number in range(checks):
        truth = chance.uniform(-1.5, 1.5)
        sheath = (thin, lagging, tailed)[number % 3](chance, truth)
        found = verify_zero(typed(sheath, 0.1, chance, until=200), GOOD, PROBE)
        covered += found.error is None or abs(found.error - truth) <= found.expanded
    assert covered / checks >= 0.95


@given(st.floats(-2, 2), st.sampled_from([GOOD, STIRRED, STILL, DRY]), st.floats(0.1, 3), st.none() | st.floats(0, 100))
def test_every_check_gives_a_verdict_with_words(value, preparation, tolerance, depth):
    found = verify(round(value, 1), preparation, replace(PROBE, tolerance=tolerance), immersion_mm=depth)
    openings = {PASSED: "In tolerance", FAILED: "Out of tolerance", UNSURE: "Inconclusive"}
    assert found.why[0].startswith(openings[found.verdict])
    assert len(found.why) >= 3
    if found.verdict is PASSED:
        assert found.reference.usable
        assert abs(found.error) <= tolerance + 1e-9


# Certificates


@pytest.mark.parametrize(
    ("error", "expanded", "verdict", "zone"),
    [
        (0.1, 0.05, PASSED, Zone.PASS),
        (0.97, 0.05, PASSED, Zone.CONDITIONAL_PASS),
        (-1.03, 0.05, FAILED, Zone.CONDITIONAL_FAIL),
        (0.0, 1.2, UNSURE, Zone.CONDITIONAL_PASS),
    ],
)
def test_a_certificate_is_judged_as_it_states(error, expanded, verdict, zone):
    found = judge_stated(error, expanded, PROBE)
    assert (found.verdict, found.zone) == (verdict, zone)


def test_a_certificate_states_its_uncertainty_with_a_factor_of_two():
    """At the tolerance less U the truth is beyond with 1 - Φ(2) = 2.3 % (JCGM 106:2012, clause 7, computed)."""
    assert judge_stated(0.8, 0.2, PROBE).probability_in_tolerance == pytest.approx(0.97725, abs=1e-5)


# Figures that cannot be


@pytest.mark.parametrize("depth", [-1, 1001, nan])
def test_a_depth_that_cannot_be_is_refused(depth):
    with pytest.raises(ValueError, match="depth in the ice in mm, from 0 to 1000"):
        verify(immersion_mm=depth)


@pytest.mark.parametrize("diameter", [0, 51, nan])
def test_a_stem_that_cannot_be_is_refused(diameter):
    with pytest.raises(ValueError, match=r"diameter of the stem in mm, from 0\.1 to 50"):
        verify(instrument=replace(PROBE, stem_diameter=diameter))
