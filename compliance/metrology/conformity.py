"""The verdict and its risk: error, expanded uncertainty, tolerance and a decision rule."""

from dataclasses import dataclass
from enum import StrEnum
from math import floor, inf, isfinite, log10, nextafter
from typing import TYPE_CHECKING

from .vocabulary import Verdict

if TYPE_CHECKING:
    from .distribution import Spread


class DecisionRule(StrEnum):
    """How the uncertainty enters the verdict. Source: ILAC-G8:09/2019, 4.2."""

    SIMPLE = "simple"
    GUARDED = "guarded"
    NON_BINARY = "non_binary"


class Zone(StrEnum):
    """Where the error lies beside the tolerance and its guard band. Source: ILAC-G8:09/2019, 4.2.3."""

    PASS = "pass"
    CONDITIONAL_PASS = "conditional_pass"
    CONDITIONAL_FAIL = "conditional_fail"
    FAIL = "fail"


@dataclass(frozen=True, slots=True, kw_only=True)
class Conformity:
    """A verdict, and why in words.

    `probability_in_tolerance` (0 to 1) that the true error lies within the tolerance; `risk` (0 to 1) that the verdict is
    wrong, zero for an inconclusive one, which claims nothing; `conditional` where the probe may be used but must be
    checked again soon.
    """

    verdict: Verdict
    zone: Zone
    probability_in_tolerance: float
    risk: float
    conditional: bool
    why: str


WORDS = {
    Zone.PASS: "The error is within tolerance, with room for the uncertainty of the check.",
    Zone.CONDITIONAL_PASS: "The error is within tolerance, though by less than the uncertainty of the check.",
    Zone.CONDITIONAL_FAIL: "The error is beyond tolerance, though by less than the uncertainty of the check.",
    Zone.FAIL: "The error is beyond tolerance.",
}
TOO_UNCERTAIN = "The uncertainty of the check is larger than the tolerance, so it cannot tell."


def judge_conformity(
    error: float,
    expanded: float,
    standard: float,
    tolerance: float,
    rule: DecisionRule = DecisionRule.NON_BINARY,
    spread: "Spread | None" = None,
) -> Conformity:
    """Whether a probe with this error is in tolerance. End points belong to acceptance.

    Args:
        error: °C, reading minus reference.
        expanded: °C, expanded uncertainty U of the error, zero or more; also the guard band.
        standard: °C, its standard uncertainty, zero or more.
        tolerance: °C, above zero; the error may be -tolerance to +tolerance.
        rule: `simple` ignores the uncertainty, `guarded` accepts to tolerance - U only, `non_binary` accepts to the
            tolerance and says so where it is conditional.
        spread: °C, the distribution of the error of the check, if it is known; a normal one of `standard` otherwise.

    Raises:
        ValueError: for widths that are negative, a tolerance not above zero, or values that are not finite.

    Returns:
        The verdict. Where U exceeds the tolerance no acceptance zone is left: the check is inconclusive, unless the
        error is so large that it is beyond tolerance all the same, and except under simple acceptance.

    Source: ILAC-G8:09/2019; JCGM 106:2012, clauses 7 (probability of conformity) and 8 (guard bands).
    """
    from .distribution import Spread

    if not all(map(isfinite, (error, expanded, standard, tolerance))):
        raise ValueError("Give the error, its uncertainties and the tolerance as finite numbers in °C.")
    if expanded < 0 or standard < 0 or tolerance <= 0:
        raise ValueError("Uncertainties must be zero or more and the tolerance above zero, in °C.")
    zone = _zone(abs(error), expanded, tolerance)
    spread = spread or Spread((), standard)
    probability = _clamped(spread.cdf(_clean(tolerance - error)) - spread.cdf(_below(-tolerance - error)))
    too_uncertain = _clean(expanded) > _clean(tolerance) and zone is not Zone.FAIL
    if rule is not DecisionRule.SIMPLE and too_uncertain:
        return _conformity(Verdict.INCONCLUSIVE, zone, probability, rule, TOO_UNCERTAIN)
    accepted = {Zone.PASS} if rule is DecisionRule.GUARDED else {Zone.PASS, Zone.CONDITIONAL_PASS}
    verdict = Verdict.IN_TOLERANCE if zone in accepted else Verdict.OUT_OF_TOLERANCE
    return _conformity(verdict, zone, probability, rule, _words(zone, rule))


def _conformity(verdict: Verdict, zone: Zone, probability: float, rule: DecisionRule, why: str) -> Conformity:
    conditional = rule is DecisionRule.NON_BINARY and zone is Zone.CONDITIONAL_PASS
    return Conformity(
        verdict=verdict,
        zone=zone,
        probability_in_tolerance=probability,
        risk=_risk(verdict, probability),
        conditional=conditional and verdict is Verdict.IN_TOLERANCE,
        why=why,
    )


def _risk(verdict: Verdict, probability: float) -> float:
    """Specific risk of a wrong acceptance or a wrong rejection. Source: JCGM 106:2012, 9.3.2."""
    wrong = {Verdict.IN_TOLERANCE: 1 - probability, Verdict.OUT_OF_TOLERANCE: probability}
    return _clamped(wrong.get(verdict, 0.0))


def told_risk(risk: float) -> str:
    """The chance that a verdict is wrong, 0 to 1, as "1 in 200", never rounded to a smaller one.

    Raises:
        ValueError: for a risk out of this range.
    """
    if not 0 <= risk <= 1:
        raise ValueError("Give the chance that the verdict is wrong, from 0 to 1.")
    if risk < 1 / LONGEST_ODDS:
        return f"less than 1 in {LONGEST_ODDS:,}"
    if risk > 0.5:
        return "more than 1 in 2"
    odds = floor(_clean(1 / risk))
    if odds >= 100:
        place = 10 ** (floor(log10(odds)) - 1)
        odds -= odds % place
    return f"1 in {odds:,}"


LONGEST_ODDS = 10_000


def _zone(size: float, guard: float, tolerance: float) -> Zone:
    if _clean(size) <= _clean(tolerance - guard):
        return Zone.PASS
    if _clean(size) <= _clean(tolerance):
        return Zone.CONDITIONAL_PASS
    return Zone.CONDITIONAL_FAIL if _clean(size) <= _clean(tolerance + guard) else Zone.FAIL


def _words(zone: Zone, rule: DecisionRule) -> str:
    if rule is DecisionRule.GUARDED and zone is Zone.CONDITIONAL_PASS:
        return "The error is within tolerance, but by less than the uncertainty, and the rule asks for more."
    if rule is DecisionRule.SIMPLE and zone is Zone.CONDITIONAL_PASS:
        return "The error is within tolerance."
    return WORDS[zone]


def _clamped(probability: float) -> float:
    return min(1.0, max(0.0, probability))


def _below(value: float) -> float:
    """Just under a lower end point, which belongs to acceptance."""
    return nextafter(_clean(value), -inf)


def _clean(value: float) -> float:
    """Free of the dust of binary arithmetic, so that 10 times 0.1 °C meets a tolerance of 1 °C."""
    return round(value, 9)
