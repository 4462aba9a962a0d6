"""What checks and alterations leave on the timeline of a probe, and which temperatures a check speaks for."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from .vocabulary import CheckKind, Stage, Verdict

NEAR_ZERO = 5.0  # °C on either side of zero within which a certificate speaks for the zero point; judgement


class MarkKind(StrEnum):
    """What happened at one moment of a timeline."""

    GOOD_AS_FOUND = "good_as_found"
    FAILED_AS_FOUND = "failed_as_found"
    ALTERATION = "alteration"
    GOOD_AS_LEFT = "good_as_left"
    FAILED_AS_LEFT = "failed_as_left"


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A check or an alteration. `at` is an aware time, `key` names the record, `order` is the order of recording.

    `about` is the end of the scale that a check speaks for, zero or boiling; an alteration concerns both. `gone`: by that
    alteration it can never be checked again.
    """

    at: datetime
    kind: MarkKind
    key: str
    order: int = 0
    about: CheckKind = CheckKind.ZERO
    gone: bool = False

    @property
    def failed(self) -> bool:
        return self.kind in (MarkKind.FAILED_AS_FOUND, MarkKind.FAILED_AS_LEFT)

    @property
    def at_zero(self) -> bool:
        """Whether it speaks for the zero point, or for both ends."""
        return self.about is CheckKind.ZERO

    @property
    def as_left(self) -> bool:
        return self.kind in (MarkKind.GOOD_AS_LEFT, MarkKind.FAILED_AS_LEFT)


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckFinding:
    """A live check: when (an aware time), of which kind, against which reference (°C), and what it said."""

    at: datetime
    kind: CheckKind
    reference: float
    stage: Stage
    verdict: Verdict
    key: str
    order: int = 0


def weigh(findings: Iterable[CheckFinding]) -> tuple[Mark, ...]:
    """The marks that the checks of one probe leave on its timeline; those of its alterations are added beside them.

    Args:
        findings: live checks, in any order; a void one is left out by whoever gathers them.

    Returns:
        A mark for each conclusive check. `cut` holds the rule of what each is worth: a failed check of any kind
        condemns; one near zero vouches; one away from zero vouches for nothing, and cures only a failure of its own.

    Source: own judgement, on the safe side: a check cannot speak for temperatures that it did not try.
    """
    marks = []
    for finding in findings:
        kind = mark_kind(finding.verdict, finding.stage)
        if kind is not None:
            about = speaks_for(finding.kind, finding.reference)
            marks.append(Mark(at=finding.at, kind=kind, key=finding.key, order=finding.order, about=about))
    return tuple(marks)


def speaks_for(kind: CheckKind, reference: float) -> CheckKind:
    """The end of the scale that a check speaks for.

    Args:
        kind: of the check (no unit).
        reference: what it was held against, °C; it counts for a certificate only.

    Returns:
        Zero, or boiling for whatever lies away from zero.

    Source: judgement: a certificate within 5 °C of zero is one of the zero point.
    """
    if kind is CheckKind.CERTIFICATE:
        return CheckKind.ZERO if abs(reference) <= NEAR_ZERO else CheckKind.BOILING
    return kind


def mark_kind(verdict: Verdict, stage: Stage) -> MarkKind | None:
    """The mark that a check leaves on the timeline of its probe.

    A void check leaves none either; whoever gathers the marks leaves it out.

    Args:
        verdict: what the check said (no unit).
        stage: whether it was made before or after an adjustment (no unit).

    Returns:
        The kind of mark; None for an inconclusive check, which neither vouches nor condemns.
    """
    if verdict is Verdict.INCONCLUSIVE:
        return None
    good = verdict is Verdict.IN_TOLERANCE
    if stage is Stage.AS_FOUND:
        return MarkKind.GOOD_AS_FOUND if good else MarkKind.FAILED_AS_FOUND
    return MarkKind.GOOD_AS_LEFT if good else MarkKind.FAILED_AS_LEFT
