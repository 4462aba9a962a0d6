"""One check from end to end: timed readings, bath and probe to error, budget, verdict, and why in words."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil, isfinite

from .bath import BathPoint, Preparation, judge_bath
from .conduction import BIMETAL_LENGTH, SENSING_LENGTH, stem_error
from .conformity import Conformity, DecisionRule, Zone, judge_conformity, told_risk
from .contamination import LARGEST, explain_low
from .display_resolution import display_components
from .reference import Reference
from .settling import Settling, SettlingState, TimedValue, has_moved, judge_settling
from .uncertainty import Budget, Component, combine, normal, rectangular
from .vocabulary import Medium, Sensor, Verdict

STEM_CONDUCTION = 0.01  # °C, standard uncertainty where the depth was confirmed and not measured; judgement
COLUMN_OUTSIDE = (
    0.4  # °C, half-width: 12 degrees of alcohol (1/1000 per °C) out of the ice in a warm kitchen; judgement
)
NUMBERS_TO_FAIL = 2  # settled readings; one alone may be misread or mistyped and fails no probe, judgement
WORTH_EXPLAINING = 0.05  # °C below zero from which the words say what in the water would explain it; judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """A probe: kind of sensor, display step °C, tolerance °C (±), time constant s and stem diameter mm if known."""

    sensor: Sensor
    resolution: float
    tolerance: float
    time_constant: float | None = None
    stem_diameter: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Verification:
    """What one check shows.

    `error` and `expanded` in °C, None where the check gave no figure. `why` are sentences for whoever made the check,
    the first the verdict; `figures` are the numbers in words.
    """

    settling: Settling
    reference: Reference
    budget: Budget | None
    error: float | None
    expanded: float | None
    verdict: Verdict
    conformity: Conformity | None
    why: tuple[str, ...]
    figures: tuple[str, ...]


def verify_zero(
    readings: Sequence[TimedValue],
    preparation: Preparation,
    instrument: Instrument,
    immersion_mm: float | None = None,
    rule: DecisionRule = DecisionRule.NON_BINARY,
) -> Verification:
    """Judge a check at the ice point.

    Args:
        readings: 0 to 200, in s since the probe went in and °C.
        preparation: the bath, point by point.
        instrument: the probe, °C, s and mm.
        immersion_mm: depth of ice around the stem in mm, 0 to 1000, if it was measured.
        rule: how the uncertainty enters the verdict.

    Returns:
        Error, expanded uncertainty (95 %), verdict and the words for them. Inconclusive where the probe had not
        settled, the bath does not stand for 0 °C, nobody saw the display move, the uncertainty is too large to tell, or a
        single reading is all that speaks against the probe.

    Raises:
        ValueError: for a depth or a stem diameter out of range, and as `judge_settling` and `judge_conformity` do.

    Source: JCGM 100:2008 for the budget, ILAC-G8:09/2019 for the verdict; what a bath is worth is common practice.
    """
    seen = judge_bath(replace(preparation, points=preparation.points | {BathPoint.FELL}))
    found = verify_against(readings, seen, instrument, immersion_mm=immersion_mm, rule=rule)
    if has_moved(readings, instrument.resolution) or abs(found.error or 0.0) > instrument.tolerance:
        return found  # what is shown beyond tolerance speaks against a probe, held or not
    return verify_against(readings, judge_bath(preparation), instrument, immersion_mm=immersion_mm, rule=rule)


def verify_against(
    readings: Sequence[TimedValue],
    reference: Reference,
    instrument: Instrument,
    *,
    immersion_mm: float | None = None,
    rule: DecisionRule = DecisionRule.NON_BINARY,
    extra: tuple[Component, ...] = (),
) -> Verification:
    """Judge a check against any reference.

    Args:
        readings: 0 to 200, in s since the probe went in and °C.
        reference: what surrounds the probe, °C.
        instrument: the probe, °C, s and mm.
        immersion_mm: how deep the stem is in it, in mm, 0 to 1000, if it was measured.
        rule: how the uncertainty enters the verdict.
        extra: further lines of the budget, °C.

    Returns:
        Error, expanded uncertainty (95 %), verdict and the words for them. Inconclusive where the probe had not
        settled, the reference is not usable, the uncertainty is too large to tell, or a single reading is all that
        speaks against the probe.

    Raises:
        ValueError: for a depth or a stem diameter out of range, and as `judge_settling` and `judge_conformity` do.

    Source: JCGM 100:2008 for the budget, ILAC-G8:09/2019 for the verdict.
    """
    if immersion_mm is not None and not (isfinite(immersion_mm) and 0 <= immersion_mm <= 1000):
        raise ValueError(f"Give the depth in {INSIDE[reference.medium]} in mm, from 0 to 1000, or leave it out.")
    if instrument.stem_diameter is not None and not 0.1 <= instrument.stem_diameter <= 50:
        raise ValueError("Give the diameter of the stem in mm, from 0.1 to 50, or leave it out.")
    settling = judge_settling(readings, instrument.resolution, instrument.time_constant)
    if settling.value is None:
        return _without_figure(reference, settling)
    budget = combine([*_components(readings, settling, reference, instrument, immersion_mm), *extra])
    error = settling.value - reference.temperature
    conformity = judge_conformity(
        error, budget.expanded, budget.combined, instrument.tolerance, rule, spread=budget.spread
    )
    lone = conformity.verdict is Verdict.OUT_OF_TOLERANCE and settling.count < NUMBERS_TO_FAIL
    if lone or not reference.usable:
        conformity = replace(conformity, verdict=Verdict.INCONCLUSIVE, risk=0.0, conditional=False)
    return Verification(
        settling=settling,
        reference=reference,
        budget=budget,
        error=error,
        expanded=budget.expanded,
        verdict=conformity.verdict,
        conformity=conformity,
        why=_why(error, instrument, reference, conformity, budget, lone),
        figures=_figures(error, budget, reference, settling, conformity),
    )


def judge_stated(
    error: float, expanded: float, instrument: Instrument, rule: DecisionRule = DecisionRule.NON_BINARY
) -> Conformity:
    """Judge what a laboratory's certificate states against the tolerance of the probe.

    Args:
        error: °C, reading minus reference, as stated.
        expanded: °C, the stated expanded uncertainty with k = 2.
        instrument: the probe; only its tolerance in °C counts.
        rule: how the uncertainty enters the verdict.

    Raises:
        ValueError: as `judge_conformity` does.

    Source: ILAC-G8:09/2019.
    """
    return judge_conformity(error, expanded, expanded / 2, instrument.tolerance, rule)


def _components(
    readings: Sequence[TimedValue],
    settling: Settling,
    reference: Reference,
    instrument: Instrument,
    immersion: float | None,
) -> list[Component]:
    since = settling.settled_since or 0.0
    settled = [reading.value for reading in readings if reading.elapsed >= since]
    return [
        *reference.components,
        *display_components(settled, instrument.resolution),
        rectangular("settling", settling.residual, "what may still be to come"),
        _stem(reference, instrument, immersion),
    ]


def _stem(reference: Reference, instrument: Instrument, immersion: float | None) -> Component:
    """Warmth along a metal stem, or the column of a glass thermometer that stands out."""
    if instrument.sensor is Sensor.LIQUID_IN_GLASS:
        return rectangular("column", COLUMN_OUTSIDE, "the part of its column outside, at another temperature")
    if immersion is None:
        return normal("stem", STEM_CONDUCTION, "warmth along the stem; its depth was not measured")
    sensing = BIMETAL_LENGTH if instrument.sensor is Sensor.BIMETAL else SENSING_LENGTH
    at = reference.temperature
    width = abs(stem_error(immersion, instrument.stem_diameter, reference.medium, at, sensing=sensing))
    return rectangular("stem", width, f"warmth along a stem that is {immersion:g} mm deep")


def _without_figure(reference: Reference, settling: Settling) -> Verification:
    inside = INSIDE[reference.medium]
    still = f"Leave the probe in {inside} until the display stands still, then check again."
    todo = {
        SettlingState.FALLING: still,
        SettlingState.RISING: still,
        SettlingState.TOO_FEW: f"Leave the probe in {inside} and type a reading every few seconds until it has settled.",
    }.get(settling.state, settling.sentence)
    opening = "Inconclusive: the probe had not settled, so this check says nothing about it."
    why = (opening, *(reference.why if not reference.usable else ()), todo)
    return Verification(
        settling=settling,
        reference=reference,
        budget=None,
        error=None,
        expanded=None,
        verdict=Verdict.INCONCLUSIVE,
        conformity=None,
        why=why,
        figures=(f"Settling: {settling.sentence}",),
    )


INSIDE = {
    Medium.PACKED_ICE: "the ice",
    Medium.ICE_WATER: "the ice",
    Medium.BOILING_WATER: "the boiling water",
    Medium.STEAM: "the steam",
}
SHOWN = {
    Medium.PACKED_ICE: "It shows {} in melting ice",
    Medium.ICE_WATER: "It shows {} in melting ice",
    Medium.BOILING_WATER: "It is off by {} in boiling water",
    Medium.STEAM: "It is off by {} in steam",
}
# What to do where the uncertainty is too large, by the component that is largest; of others the reference says it.
TOO_UNCERTAIN = {
    "display": "The steps of its display are too coarse for this tolerance: use a probe with a finer display.",
    "settling": "Leave the probe in {} for longer and type more readings. Then check again.",
    "stem": "Put the probe in deeper, to the sensing tip and at least 50 mm more. Then check again.",
    "column": "Put the thermometer in deeper, to the top of its column but for what you need to read it. Then check again.",
    "repeatability": "The display flickers: leave the probe in {} for longer and type more readings.",
}
NEAR_EDGE = "In tolerance, but so near the edge that it may be out of tolerance: check it again soon."
AS_TICKED = {
    Medium.PACKED_ICE: "if the bath was made as ticked",
    Medium.ICE_WATER: "if the bath was made as ticked",
    Medium.BOILING_WATER: "if the pan was made as ticked",
    Medium.STEAM: "if the pan was made as ticked",
}
SECOND = "Do not use it until it is checked again, with a second number some seconds after the first."


def _why(
    error: float, instrument: Instrument, reference: Reference, conformity: Conformity, budget: Budget, lone: bool
) -> tuple[str, ...]:
    if not reference.usable:
        stands = reference.why[0].removesuffix(".")
        opening = f"Inconclusive: {stands[0].lower()}{stands[1:]}, so this check says nothing about the probe."
        return (opening, *reference.why[1:], reference.again)
    allowed = instrument.tolerance
    shown = f"{SHOWN[reference.medium].format(_told(error, allowed))}, where ±{_plain(allowed)} is allowed."
    told = (shown, conformity.why, *reference.why[1:])
    if lone:
        return ("Inconclusive: one number alone fails no probe.", *told, SECOND)
    if conformity.verdict is Verdict.INCONCLUSIVE:
        worst = max(budget.components, key=lambda component: component.standard)
        todo = TOO_UNCERTAIN.get(worst.name, reference.again).format(INSIDE[reference.medium])
        return ("Inconclusive: this check is too uncertain to tell.", *told, todo)
    if conformity.verdict is Verdict.IN_TOLERANCE:
        near = conformity.zone is Zone.CONDITIONAL_PASS
        return (NEAR_EDGE if near else "In tolerance: the probe may be used.", *told)
    label = "Label it and put it aside. What it measured since its last good check is in quarantine."
    return ("Out of tolerance: stop using this probe.", *told, *_explained(error, reference), label)


def _explained(error: float, reference: Reference) -> tuple[str, ...]:
    """What in the water of an ice bath would make a good probe read this low."""
    icy = reference.medium in (Medium.PACKED_ICE, Medium.ICE_WATER)
    return explain_low(-error).sentences if icy and -LARGEST <= error <= -WORTH_EXPLAINING else ()


def _figures(
    error: float,
    budget: Budget,
    reference: Reference,
    settling: Settling,
    conformity: Conformity,
) -> tuple[str, ...]:
    count = "1 reading" if settling.count == 1 else f"{settling.count} readings"
    return (
        f"Error {_signed(error, 2)}, expanded uncertainty ±{_up(budget.expanded)} °C "
        f"(k = {budget.coverage_factor:.2f}, 95 %).",
        f"Mean of {count} since {settling.settled_since or 0:.0f} s; "
        f"at most {_up(settling.residual)} °C still to come.",
        reference.why[0],
        *_chances(conformity, reference),
        *(_explained(error, reference) if conformity.verdict is not Verdict.OUT_OF_TOLERANCE else ()),
    )


def _chances(conformity: Conformity, reference: Reference) -> tuple[str, ...]:
    """What is likely, where the reference lets anything be said; who says nothing cannot be wrong."""
    if not reference.usable:
        return ()
    within = told_within(conformity)
    if conformity.verdict is Verdict.INCONCLUSIVE:
        return (within,)
    return (within, told_wrong(conformity, AS_TICKED[reference.medium]))


def told_within(conformity: Conformity) -> str:
    """How likely the probe is in tolerance, in words."""
    return f"Probability that the probe is in tolerance: {100 * conformity.probability_in_tolerance:.1f} %."


def told_wrong(conformity: Conformity, provided: str) -> str:
    """How likely the verdict is wrong, in words, and on what that rests: `provided` begins with "if"."""
    return f"The chance that this verdict is wrong, {provided}: {told_risk(conformity.risk)}."


def _signed(value: float, digits: int = 1) -> str:
    shown = f"{abs(value):.{digits}f}"
    sign = "" if float(shown) == 0 else "+" if value > 0 else "\N{MINUS SIGN}"
    return f"{sign}{shown} °C"


def _told(error: float, tolerance: float) -> str:
    """With one decimal, or as many more as show on which side of the tolerance it lies."""
    beyond = round(abs(error), 9) > round(tolerance, 9)
    digits = next((n for n in (1, 2, 3) if (round(abs(error), n) > round(tolerance, 9)) == beyond), 4)
    return _signed(error, digits)


def _plain(value: float) -> str:
    """One decimal, two where it has them."""
    return f"{value:.2f}".removesuffix("0") + " °C"


def _up(value: float) -> str:
    """Two decimals, rounded up, so that no rounding makes a check look surer than it was."""
    return f"{ceil(round(value * 100, 6)) / 100:.2f}"
