"""One check from end to end: verdicts, what they rest on, and the words that a cook reads."""

import re
from collections.abc import Sequence
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.metrology.bath import MISSING, BathKind, Point, Preparation
from compliance.metrology.conformity import DecisionRule, Zone
from compliance.metrology.settling import SettlingState, TimedReading
from compliance.metrology.uncertainty import Budget
from compliance.metrology.verification import Instrument, Verification, judge_stated, verify_zero
from compliance.metrology.vocabulary import Sensor, Verdict

ALL = frozenset(Point)
GOOD = Preparation(kind=BathKind.PACKED_CRUSHED, points=ALL)
CUBES = Preparation(kind=BathKind.STIRRED_CUBES, points=ALL)
FALL = (12.4, 3.1, 0.9)


def series(*values: float, every: float = 6.0) -> list[TimedReading]:
    return [TimedReading(elapsed=every * (i + 1), value=value) for i, value in enumerate(values)]


def settling_at(*values: float) -> list[TimedReading]:
    """A fall, then these values; six seconds apart."""
    return series(*(value + values[-1] for value in FALL), *values)


def probe(
    resolution: float = 0.1, tolerance: float = 1.0, time_constant: float | None = 4.0, stem: float | None = None
) -> Instrument:
    return Instrument(
        sensor=Sensor.THERMISTOR,
        resolution=resolution,
        tolerance=tolerance,
        time_constant=time_constant,
        stem_diameter=stem,
    )


def checked(readings: Sequence[TimedReading], instrument: Instrument | None = None, bath=GOOD, **more) -> Verification:
    return verify_zero(readings, bath, instrument or probe(), **more)


def standard(found: Verification, name: str) -> float:
    return next(part.standard for part in budget(found).components if part.name == name)


def budget(found: Verification) -> Budget:
    assert found.budget is not None
    return found.budget


def test_a_good_probe_in_a_good_bath():
    found = checked(settling_at(0.3, 0.3, 0.3, 0.3))
    assert (found.verdict, found.conformity.zone) == (Verdict.IN_TOLERANCE, Zone.PASS)
    assert found.error == pytest.approx(0.3)
    assert found.why[:2] == (
        "In tolerance: the probe may be used.",
        "It shows +0.3 °C in melting ice, where ±1.0 °C is allowed.",
    )


def test_a_probe_out_of_tolerance_is_to_be_put_aside():
    found = checked(settling_at(-1.6, -1.6, -1.6, -1.6))
    assert found.verdict is Verdict.OUT_OF_TOLERANCE
    assert found.why[0] == "Out of tolerance: stop using this probe."
    assert found.why[1] == "It shows \N{MINUS SIGN}1.6 °C in melting ice, where ±1.0 °C is allowed."
    assert found.why[-1].startswith("Label it and put it aside.")


def test_no_error_has_no_sign():
    assert "It shows 0.0 °C" in checked(settling_at(0.0, 0.0, 0.0, 0.0)).why[1]


def test_enough_decimals_to_see_on_which_side_of_the_tolerance_it_lies():
    found = checked(settling_at(1.0, 1.1, 1.0, 1.0, 1.0))
    assert found.verdict is Verdict.OUT_OF_TOLERANCE
    assert found.why[1] == "It shows +1.02 °C in melting ice, where ±1.0 °C is allowed."


def test_a_tolerance_of_two_degrees_fahrenheit():
    found = checked(settling_at(1.1, 1.1, 1.1, 1.1), probe(tolerance=1.111))
    assert (found.verdict, found.conformity.zone) == (Verdict.IN_TOLERANCE, Zone.CONDITIONAL_PASS)
    assert "±1.11 °C is allowed" in found.why[1]
    assert "Check again soon" in found.why[2]


def test_the_budget_is_that_of_the_guides():
    # JCGM 100:2008 4.3.7 and F.2.2.1 for the boxes; bath ±0.01 °C is common practice, no source; stem is judgement.
    found = checked(settling_at(0.2, 0.2, 0.2, 0.2))
    assert [part.name for part in budget(found).components] == ["bath", "display", "settling", "stem"]
    assert standard(found, "bath") == pytest.approx(0.0058, abs=5e-5)
    assert standard(found, "display") == pytest.approx(0.0289, abs=5e-5)
    assert standard(found, "settling") == pytest.approx(found.settling.residual / 3**0.5)
    assert found.expanded == budget(found).expanded


def test_a_flicker_adds_its_scatter():
    # JCGM 100:2008 4.2.3: five values with s = 0.0548, s/√5 = 0.0245, ν 4.
    found = checked(settling_at(0.2, 0.1, 0.2, 0.1, 0.2))
    part = budget(found).components[-1]
    assert (part.name, part.degrees_of_freedom) == ("repeatability", 4)
    assert part.standard == pytest.approx(0.0245, abs=5e-5)
    assert found.error == pytest.approx(0.16)


def test_three_flickering_readings_of_a_coarse_display_still_tell():
    # With one or two degrees of freedom Student's t would ask for 4 to 13 times the scatter.
    found = checked(series(15, 3, 0, 1, 0, every=8), probe(resolution=1.0))
    part = budget(found).components[-1]
    assert (part.name, part.value) == ("repeatability", 0.5)
    assert found.verdict is Verdict.IN_TOLERANCE
    assert found.expanded < 1


@pytest.mark.parametrize("readings", [[], series(14.0), series(*FALL), series(12.0, 9.0, 6.0, 3.0, 1.5)])
def test_a_probe_that_has_not_settled_says_nothing(readings):
    found = checked(readings)
    assert found.verdict is Verdict.INCONCLUSIVE
    assert (found.error, found.expanded, found.budget, found.conformity) == (None, None, None, None)
    assert found.why[0] == "Inconclusive: the probe had not settled, so this check says nothing about it."
    assert found.why[-1].startswith("Leave the probe in the ice")


def test_a_bath_that_warms_up_is_to_be_made_again():
    found = checked(settling_at(0.1, 0.1, 0.1, 0.1, 0.5, 1.2))
    assert (found.verdict, found.settling.state) == (Verdict.INCONCLUSIVE, SettlingState.DRIFTING)
    assert "rising again" in found.why[-1] and "pack fresh ice" in found.why[-1]


@pytest.mark.parametrize(
    ("bath", "because"),
    [
        (Preparation(kind=BathKind.UNSTIRRED, points=ALL), "nobody stirs"),
        (Preparation(kind=BathKind.UNCONFIRMED, points=ALL), "Nobody confirmed"),
        (Preparation(kind=BathKind.PACKED_CRUSHED, points=ALL - {Point.WETTED}), MISSING[Point.WETTED]),
    ],
)
@pytest.mark.parametrize("error", [0.1, 5.0])
def test_a_bad_bath_neither_clears_nor_condemns(bath, because, error):
    found = checked(settling_at(*[error] * 4), bath=bath)
    assert found.verdict is Verdict.INCONCLUSIVE
    assert found.why[0].startswith("Inconclusive: the bath does not stand for 0 °C")
    assert any(because in line for line in found.why)
    assert found.why[-1].startswith("Make the bath again with crushed, wetted, drained ice")


def test_a_lesser_bath_is_told_beside_the_verdict():
    found = checked(settling_at(0.1, 0.1, 0.1, 0.1), bath=Preparation(kind=GOOD.kind, points=ALL - {Point.DRAINED}))
    assert found.verdict is Verdict.IN_TOLERANCE and MISSING[Point.DRAINED] in found.why


@pytest.mark.parametrize(
    ("readings", "instrument", "bath", "depth", "todo"),
    [
        (settling_at(0.0, 0.0, 0.0, 0.0), probe(tolerance=0.15), CUBES, None, "Make the bath again"),
        (settling_at(0.0, 0.0, 0.0, 0.0), probe(resolution=2.0), GOOD, None, "finer display"),
        (series(0.2, every=60), probe(tolerance=0.2), GOOD, None, "Leave the probe in the ice for longer"),
        (settling_at(0.0, 0.0, 0.0, 0.0), probe(), GOOD, 10, "Put the probe in deeper"),
    ],
)
def test_too_uncertain_says_what_to_do_about_the_largest_part(readings, instrument, bath, depth, todo):
    found = checked(readings, instrument, bath, immersion_mm=depth)
    assert found.verdict is Verdict.INCONCLUSIVE
    assert found.why[0] == "Inconclusive: this check is too uncertain to tell."
    assert "larger than the tolerance" in found.why[2]
    assert todo in found.why[-1]


def test_an_error_beyond_any_doubt_condemns_in_spite_of_a_large_uncertainty():
    found = checked(settling_at(6.0, 6.0, 6.0, 6.0), probe(resolution=2.0))
    assert found.expanded > 1 and found.verdict is Verdict.OUT_OF_TOLERANCE


def test_one_reading_after_a_minute_counts_but_for_less():
    alone, several = checked([TimedReading(elapsed=60, value=0.2)]), checked(settling_at(0.2, 0.2, 0.2, 0.2))
    assert alone.verdict is Verdict.IN_TOLERANCE
    assert alone.expanded > 3 * several.expanded
    assert checked([TimedReading(elapsed=59, value=0.2)]).verdict is Verdict.INCONCLUSIVE


@pytest.mark.parametrize(("stem", "enough"), [(None, 50), (3, 50), (5, 50), (8, 80)])
def test_a_thick_stem_wants_more_depth(stem, enough):
    # 50 mm, and ten diameters for thick stems: common practice, no source.
    found = [
        checked(settling_at(0, 0, 0, 0), probe(stem=stem), immersion_mm=mm) for mm in (enough + 100, enough, enough - 1)
    ]
    deep, just, short = (standard(check, "stem") for check in found)
    assert deep == just == 0.01 < short


def test_a_depth_of_twenty_millimetres_shows_in_the_uncertainty():
    # A fin of exp(-7) over 50 mm from 20 °C: 20 mm leave 20·exp(-2.8) = 1.2 °C, 0.7 as a standard uncertainty.
    assert standard(checked(settling_at(0, 0, 0, 0), immersion_mm=20), "stem") == pytest.approx(0.67, abs=0.05)


def test_the_figures_are_told_for_whoever_asks():
    figures = checked(settling_at(-0.4, -0.4, -0.4, -0.4)).figures
    assert re.fullmatch(r"Error −0\.40 °C, expanded uncertainty ±0\.\d\d °C \(k = \d\.\d\d, 95 %\)\.", figures[0])
    assert re.fullmatch(r"Mean of 4 readings since 24 s; at most 0\.\d\d °C still to come\.", figures[1])
    assert figures[2] == "The bath stands for 0 °C within 0.01 °C."
    assert figures[3] == "Effective degrees of freedom: unlimited."


def test_the_rule_decides():
    near = settling_at(0.99, 0.99, 0.99, 0.99)
    verdicts = {rule: checked(near, probe(resolution=0.01), rule=rule).verdict for rule in DecisionRule}
    assert verdicts[DecisionRule.SIMPLE] is verdicts[DecisionRule.NON_BINARY] is Verdict.IN_TOLERANCE
    assert verdicts[DecisionRule.GUARDED] is Verdict.OUT_OF_TOLERANCE


@given(st.lists(st.tuples(st.integers(0, 90), st.integers(-20, 200)), max_size=12), st.randoms())
def test_the_order_of_readings_does_not_matter(pairs: list[tuple[int, int]], chance: Random):
    readings = [TimedReading(elapsed=float(s), value=v / 10) for s, v in pairs]
    shuffled = list(readings)
    chance.shuffle(shuffled)
    assert checked(readings).verdict is checked(shuffled).verdict
    assert checked(readings).error == checked(shuffled).error


@given(st.integers(-30, 30), st.sampled_from(BathKind), st.frozensets(st.sampled_from(Point)), st.sampled_from(Point))
def test_a_better_bath_never_takes_a_pass_away(tenths, kind, points, more):
    readings = settling_at(*[tenths / 10] * 5)
    worse, better = (checked(readings, bath=Preparation(kind=kind, points=p)) for p in (points, points | {more}))
    if worse.verdict is Verdict.IN_TOLERANCE:
        assert better.verdict is Verdict.IN_TOLERANCE
        assert better.expanded <= worse.expanded + 1e-12


@given(st.integers(-300, 300), st.sampled_from([0.1, 0.5, 1.0]), st.sampled_from(BathKind), st.integers(0, 200))
def test_every_check_is_told_in_sentences_and_opens_with_its_verdict(tenths, resolution, kind, depth):
    value = round(tenths / 10 / resolution) * resolution
    found = checked(
        settling_at(*[value] * 4), probe(resolution), Preparation(kind=kind, points=ALL), immersion_mm=depth
    )
    opening = {
        Verdict.IN_TOLERANCE: "In tolerance:",
        Verdict.OUT_OF_TOLERANCE: "Out of tolerance:",
        Verdict.INCONCLUSIVE: "Inconclusive:",
    }
    assert found.why[0].startswith(opening[found.verdict])
    assert all(line[0].isupper() and line.endswith(".") and len(line) < 125 for line in found.why)
    assert len(set(found.why)) == len(found.why)


def test_a_certificate_is_judged_by_the_same_rule():
    assert judge_stated(0.4, 0.2, probe()).verdict is Verdict.IN_TOLERANCE
    assert judge_stated(1.01, 0.2, probe()).zone is Zone.CONDITIONAL_FAIL
    assert judge_stated(0.4, 1.2, probe()).verdict is Verdict.INCONCLUSIVE
    # U = 2u: at the edge of the tolerance as likely in as out (JCGM 106:2012, clause 7).
    assert judge_stated(1.0, 0.2, probe()).probability_in_tolerance == pytest.approx(0.5)


@pytest.mark.parametrize("depth", [-1, 1001, float("nan"), float("inf")])
def test_a_depth_that_cannot_be_is_refused(depth):
    with pytest.raises(ValueError, match="depth in the ice in mm"):
        checked(settling_at(0, 0, 0), immersion_mm=depth)


@pytest.mark.parametrize("stem", [0, -3, 51, float("nan")])
def test_a_stem_that_cannot_be_is_refused(stem):
    with pytest.raises(ValueError, match="diameter of the stem in mm"):
        checked(settling_at(0, 0, 0), probe(stem=stem))
