"""From what people typed to a judged check, and from what the measurement says to what a record keeps."""

from collections.abc import Callable, Sequence
from copy import copy
from dataclasses import dataclass
from datetime import datetime
from math import ceil

from django.core.exceptions import ValidationError

from compliance.metrology.conformity import Conformity, DecisionRule
from compliance.metrology.settling import Settling, TimedValue, judge_settling
from compliance.metrology.uncertainty import Budget
from compliance.metrology.verification import Instrument, Verification
from compliance.metrology.vocabulary import Sensor
from compliance.probes.models import Probe
from shared.units import Unit, read


@dataclass(frozen=True, slots=True)
class Typed:
    """One timed reading: milliseconds since the probe went in, the text typed with its unit, and its value."""

    elapsed_ms: int
    text: str
    unit: str
    value_milli: int

    def timed(self) -> TimedValue:
        fahrenheit = self.unit == Unit.FAHRENHEIT
        return TimedValue(elapsed=self.elapsed_ms / 1000, value=self.value_milli / 1000, fahrenheit=fahrenheit)


def read_typed(readings: Sequence[tuple[int, str, str]]) -> list[Typed]:
    """The timed readings with their values, by time. Raises ValidationError naming the one that is no temperature."""
    typed = []
    for number, (elapsed_ms, text, unit) in enumerate(readings, start=1):
        if elapsed_ms < 0:
            raise ValidationError(f"Reading {number} was taken before the probe went in.")
        typed.append(Typed(int(elapsed_ms), text.strip(), Unit(unit).value, _milli_of(number, text, unit)))
    return sorted(typed, key=lambda reading: reading.elapsed_ms)


def _milli_of(number: int, text: str, unit: str) -> int:
    try:
        return read(text, unit)
    except ValueError as error:
        raise ValidationError(f"Reading {number}: {error}") from None


def as_judged_at(probe: Probe, at: datetime) -> Probe:
    """A copy of the probe, and of its business, with what was set when a check was made: that is what judges it."""
    then = copy(probe.particulars_at(at))
    then.business = probe.business.rules_at(at)
    return then


def rule_of(probe: Probe) -> DecisionRule:
    """How the business of the probe lets the uncertainty enter the verdict."""
    return DecisionRule(probe.business.decision_rule)


def instrument_of(probe: Probe) -> Instrument:
    return Instrument(
        sensor=Sensor(probe.sensor),
        resolution=probe.resolution_milli / 1000,
        tolerance=probe.tolerance_milli / 1000,
        time_constant=probe.time_constant_s,
        stem_diameter=probe.stem_diameter_mm,
    )


def settling_of(probe: Probe, readings: Sequence[Typed]) -> Settling:
    """How far the probe has come so far. Raises ValidationError for readings that cannot be."""
    instrument = instrument_of(probe)
    try:
        return judge_settling([r.timed() for r in readings], instrument.resolution, instrument.time_constant)
    except ValueError as error:
        raise ValidationError(str(error)) from None


def fields_of(probe: Probe, found: Verification) -> dict:
    """What a record keeps of a check that was measured."""
    return {
        "reading_milli": _milli(found.settling.value),
        "reference_milli": _milli(found.reference.temperature),
        "error_milli": _milli(found.error),
        "expanded_milli": _outward(found.expanded),
        "verdict": found.verdict.value,
        "budget": _kept(found),
        "why": list(found.why),
        "figures": list(found.figures),
        **terms_of(probe),
    }


def judged_without_figure(probe: Probe, judge: Callable[[], dict], verdict: str, why: Sequence[str]) -> dict:
    """The fields of a check that nobody finished, or of a probe that shows no number: no figure, whatever numbers it had
    shown before, and the verdict that follows from that."""
    try:
        judged = judge()
    except ValidationError:  # such as numbers in two units, where nobody said which one is right
        judged = {"reference_milli": 0, "budget": {}, **terms_of(probe)}
    kept = {name: judged["budget"][name] for name in ("bath", "settling") if name in judged["budget"]}
    return judged | {
        "reading_milli": None,
        "error_milli": None,
        "expanded_milli": None,
        "verdict": verdict,
        "budget": kept,
        "why": list(why),
        "figures": [],
    }


def terms_of(probe: Probe) -> dict:
    """By what a check of this probe is judged."""
    return {"tolerance_milli": probe.tolerance_milli, "decision_rule": rule_of(probe).value}


def _kept(found: Verification) -> dict:
    settling, bath = found.settling, found.reference
    return {
        "bath": {"half_width": bath.within, "usable": bath.usable, "why": list(bath.why)},
        "settling": {
            "state": settling.state.value,
            "since": settling.settled_since,
            "count": settling.count,
            "residual": settling.residual,
            "sentence": settling.sentence,
            "suspects": [{"number": s.number, "sentence": s.sentence} for s in settling.suspects],
        },
        **({"conformity": kept_conformity(found.conformity)} if found.conformity else {}),
        **(_kept_budget(found.budget) if found.budget else {}),
    }


def kept_conformity(conformity: Conformity) -> dict:
    """What a record keeps of how the tolerance was met."""
    return {
        "zone": conformity.zone.value,
        "risk": conformity.risk,
        "conditional": conformity.conditional,
        "probability": conformity.probability_in_tolerance,
    }


def _kept_budget(budget: Budget) -> dict:
    return {
        "combined": budget.combined,
        "coverage_factor": budget.coverage_factor,
        "expanded": budget.expanded,
        "components": [
            {
                "name": part.name,
                "value": part.value,
                "distribution": part.distribution.value,
                "standard": part.standard,
                "why": part.why,
            }
            for part in budget.components
        ],
    }


def _milli(value: float | None) -> int | None:
    return None if value is None else round(value * 1000)


def _outward(value: float | None) -> int | None:
    """An uncertainty is rounded up, so that no rounding makes a check look surer than it was."""
    return None if value is None else ceil(round(value * 1000, 6))
