"""What the timeline and the assessment make of simulated lives: one row for each reading in quarantine.

The timeline is cut by `bracketing`, each reading assessed by `assessment`, both as the programme does it.
"""

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from datetime import UTC, datetime, timedelta
from functools import cache

import numpy as np
from numpy.typing import NDArray

from compliance.metrology.assessment import Bracket, ErrorBounds, bounds, classify, true_range
from compliance.metrology.bracketing import CheckFinding, TimelineSpan, cut, weigh
from compliance.metrology.conformity import judge_conformity
from compliance.metrology.error_bounds import ErrorAt
from compliance.metrology.vocabulary import CheckKind, Direction, Outcome, Stage, Standing, Verdict

from .probe_lives import BATHS, BOILING, CHECKS, DISPLAY, FAULTS, STEAM, Array, Bath, Lives, error_at

BEGUN = datetime(2024, 1, 1, tzinfo=UTC)
SITTING = timedelta(minutes=5)
USED_ON = 0.15  # share of failed probes that are used until the next check


@dataclass(frozen=True)
class Control:
    """A critical limit (°C) with how its true temperatures are distributed (mean and deviation, °C) and their share."""

    name: str
    limit: float
    direction: Direction
    mean: float
    deviation: float
    share: float


# Judgement: most readings keep their limit, and many come near it.
CONTROLS = (
    Control("chill, at most 5 °C", 5.0, Direction.AT_MOST, 3.5, 1.0, 0.3),
    Control("chill, at most 8 °C", 8.0, Direction.AT_MOST, 5.0, 1.5, 0.2),
    Control("cook, at least 75 °C", 75.0, Direction.AT_LEAST, 78.0, 2.5, 0.35),
    Control("frozen, at most -18 °C", -18.0, Direction.AT_MOST, -20.0, 1.5, 0.15),
)
OUTCOMES = tuple(Outcome)


@dataclass(frozen=True)
class Quarantined:
    """Columns, a row a reading. `life`, `start`, `end` index the life and the checks around; times in days, °C."""

    life: NDArray[np.int64]
    start: NDArray[np.int64]
    end: NDArray[np.int64]
    at: Array
    control: NDArray[np.int64]
    truth: Array
    shown: Array
    low: Array
    high: Array
    outcome: NDArray[np.int64]
    lives: int

    def only(self, chosen: NDArray[np.int64]) -> "Quarantined":
        """These rows."""
        columns = [each.name for each in fields(self) if each.name != "lives"]
        return replace(self, **{name: getattr(self, name)[chosen] for name in columns})

    @property
    def limit(self) -> Array:
        return np.array([c.limit for c in CONTROLS])[self.control]

    @property
    def at_most(self) -> NDArray[np.bool_]:
        return np.array([c.direction is Direction.AT_MOST for c in CONTROLS])[self.control]

    @property
    def in_truth_held(self) -> NDArray[np.bool_]:
        return np.where(self.at_most, self.truth <= self.limit, self.truth >= self.limit)


def quarantined(lives: Lives, rng: np.random.Generator) -> Quarantined:
    """Use every probe until a check fails, some until the next, and assess what is then in quarantine."""
    columns: list[tuple[float, ...]] = []
    shared = 0
    used_on = rng.random(len(lives.every)) < USED_ON
    for life in range(len(lives.every)):
        before = len(columns)
        for span in _spans(lives, life, bool(used_on[life])):
            columns += _assessed(lives, life, span, rng)
        shared += len(columns) > before
    table = np.array(columns, dtype=float).reshape(-1, 10).T
    life, start, end, control, outcome = (table[i].astype(np.int64) for i in (0, 1, 2, 4, 9))
    return Quarantined(
        life=life,
        start=start,
        end=end,
        at=table[3],
        control=control,
        truth=table[5],
        shown=table[6],
        low=table[7],
        high=table[8],
        outcome=outcome,
        lives=shared,
    )


@cache
def _verdict(error: float, bath: Bath, tolerance: float) -> Verdict:
    """A display of 0.1 °C has few errors to show, so that the verdicts repeat."""
    return judge_conformity(error, bath.expanded, bath.standard, tolerance).verdict


def _spans(lives: Lives, life: int, used_on: bool) -> list[TimelineSpan]:
    """In quarantine, between two checks; nobody puts a probe into service that fails its first."""
    findings: list[CheckFinding] = []
    for check in range(CHECKS + 1):
        failed_before = any(finding.verdict is Verdict.OUT_OF_TOLERANCE for finding in findings)
        sitting = _sitting(lives, life, check)
        failed = any(finding.verdict is Verdict.OUT_OF_TOLERANCE for finding in sitting)
        if failed and not check:
            return []
        findings += sitting
        if failed_before or (failed and not used_on):
            break
    spans = cut(weigh(findings))
    return [s for s in spans if s.standing is Standing.QUARANTINED and s.behind and s.ahead]


def _sitting(lives: Lives, life: int, check: int) -> list[CheckFinding]:
    """A check at zero, and in steam before it where this probe is so checked."""
    at, tolerance = moment(lives.checked[life, check]), float(lives.tolerance[life])
    made = [(CheckKind.ZERO, 0.0, at, lives.found, BATHS[lives.bath[life, check]])]
    if lives.boils[life]:
        made.insert(0, (CheckKind.BOILING, STEAM, at - SITTING, lives.boiled, BOILING))
    return [
        CheckFinding(
            at=when,
            kind=kind,
            reference=reference,
            stage=Stage.AS_FOUND,
            order=check,
            verdict=_verdict(round(float(found[life, check]), 1), bath, tolerance),
            key=str(check) if kind is CheckKind.ZERO else f"steam {check}",
        )
        for kind, reference, when, found, bath in made
    ]


def moment(day: float) -> datetime:
    return BEGUN + timedelta(days=float(day))


def milli(value: float) -> int:
    return round(float(value) * 1000)


def _assessed(lives: Lives, life: int, span: TimelineSpan, rng: np.random.Generator) -> Iterator[tuple[float, ...]]:
    start, end = int(span.behind or 0), int(span.ahead or 0)
    error = span_bounds(lives, life, start, end)
    taken = lives.taken[life, start:end].ravel()
    zeros = lives.readings[life, start:end].ravel()
    controls = rng.choice(len(CONTROLS), len(taken), p=[c.share for c in CONTROLS])
    truths = rng.normal([CONTROLS[c].mean for c in controls], [CONTROLS[c].deviation for c in controls])
    fault, hidden = np.full(len(taken), lives.fault[life]), np.full(len(taken), lives.hidden[life])
    shown = np.round(truths + error_at(zeros, truths, fault, hidden), 1)
    for at, control, truth, value in zip(taken, controls, truths, shown, strict=True):
        low, high, outcome = assess(float(value), int(control), error)
        yield life, start, end, at, control, truth, value, low, high, outcome


def assess(shown: float, control: int, error: ErrorBounds) -> tuple[float, float, int]:
    """The stated range in °C and the outcome, by its place in OUTCOMES."""
    found = true_range(milli(shown), error)
    low, high = found if found else (-np.inf, np.inf)
    kind = CONTROLS[control]
    outcome = classify(milli(shown), milli(kind.limit), kind.direction, error)
    return low / 1000, high / 1000, OUTCOMES.index(outcome)


def span_bounds(lives: Lives, life: int, start: int, end: int) -> ErrorBounds:
    sides = tuple(_side(lives, life, check) for check in (start, end))
    return bounds(
        Bracket(start=sides[0], end=sides[1], sensor=FAULTS[lives.fault[life]].sensor, resolution=milli(DISPLAY))
    )


def _side(lives: Lives, life: int, check: int) -> tuple[ErrorAt, ...]:
    """The check at zero, and where this probe is so checked the one in steam at the same sitting."""
    at = moment(lives.checked[life, check])
    zero = ErrorAt(
        at=at, temperature=0, error=milli(lives.found[life, check]), expanded=milli(lives.expanded[life, check])
    )
    if not lives.boils[life]:
        return (zero,)
    steam, expanded = milli(lives.boiled[life, check]), milli(BOILING.expanded)
    return zero, ErrorAt(at=at, temperature=milli(STEAM), error=steam, expanded=expanded)
