"""What the pages of a case show: its readings with what they could really have been, and its reasons in words."""

from bisect import bisect_left
from dataclasses import dataclass
from datetime import datetime, tzinfo

from django.db.models import Prefetch, QuerySet

from compliance.checks.queries import brackets_of
from compliance.metrology.allowances import STATED_AT
from compliance.metrology.assessment import Bracket, ErrorBounds, bounds, likely, true_range
from compliance.metrology.bracketing import Cause
from compliance.metrology.error_bounds import ErrorAt
from compliance.metrology.sensor_faults import GRID
from compliance.probes.models import Probe
from compliance.readings.models import Reading
from shared.time_text import styled
from shared.units import show, show_error, show_spread
from sites.models import Person

from .assessing import Selection, page_of_ids
from .cases import Case
from .models import Decision, Fate

MEANING = "Reviewed: every reading of this case has been decided on, and I agree with the decisions."
MADE_SOME, MADE_ALL = " I made {} of these {} decisions myself.", " I made {} myself."


@dataclass(frozen=True, slots=True)
class Assessed:
    """One reading of a case: what it could really have been (milli-°C; None: nothing bounds it), and its decision.

    `lost`: why that decision no longer holds, empty where it does.
    """

    reading: Reading
    outcome: str
    lowest: int | None
    highest: int | None
    likely: int | None
    decision: Decision | None
    earlier: tuple[Decision, ...]
    lost: str = ""

    @property
    def pk(self) -> int:
        return self.reading.pk

    @property
    def words(self) -> str:
        return f"{self.reading.item}, {self.reading.typed} {self.reading.get_unit_display()}"


def assessed_page(
    case: Case, selection: Selection, before: tuple[datetime, int] | None = None, size: int = 50
) -> tuple[list[Assessed], bool]:
    """A page of readings, newest first, and whether older ones follow. The number of queries is constant."""
    found = page_of_ids(case.spans, selection, before, size)
    return assess_readings(case, found[:size]), len(found) > size


def assess_readings(case: Case, found: list[tuple[int, str, str | None]]) -> list[Assessed]:
    """Readings by number with their outcomes and why their decisions no longer hold, made ready to show, in the order given."""
    decisions = (
        Decision.objects.select_related("good_reading__probe").prefetch_related("decided_by__names").order_by("pk")
    )
    readings = (
        Reading.objects.filter(pk__in=[pk for pk, *_ in found])
        .select_related("site", "limit_version__limit", "taken_by", "probe")
        .prefetch_related(Prefetch("decisions", decisions, to_attr="decided"))
    )
    by_pk = {reading.pk: reading for reading in readings}
    ends = [span.ends_at for span in case.spans]
    brackets = brackets_of(case.spans)
    limits = [bounds(bracket) for bracket in brackets]
    return [
        _assessed(by_pk[pk], outcome, lost or "", brackets, limits, bisect_left(ends, by_pk[pk].taken_at))
        for pk, outcome, lost in found
    ]


def _assessed(reading: Reading, outcome: str, lost: str, brackets, limits: list[ErrorBounds], index: int) -> Assessed:
    truth = true_range(reading.value_milli, limits[index])
    return Assessed(
        reading=reading,
        outcome=outcome,
        lowest=truth[0] if truth else None,
        highest=truth[1] if truth else None,
        likely=likely(reading.value_milli, reading.taken_at, brackets[index]),
        decision=reading.decided[-1] if reading.decided else None,
        earlier=tuple(reading.decided[:-1]),
        lost=lost,
    )


def range_in_words(lowest: int, highest: int, unit: str) -> str:
    """Between which temperatures the truth lay; beyond what is known of sensors the hot end is open."""
    more = " or more" if highest > GRID[-1] else ""
    return f"{show(lowest, unit).split()[0]} to {show(highest, unit)}{more}"


WHY = {
    Cause.FAILED_AHEAD: "The probe failed its check, so what it measured since its last good check can no longer be relied on.",
    Cause.USED_AFTER_FAILURE: "The probe was used after a failed check and before the next good one.",
    Cause.ALTERED_UNCHECKED: "The probe was adjusted, repaired or gone without being checked first. How it read before is lost.",
    Cause.GONE_UNCHECKED: "The probe is gone: it can never be checked again, so nothing proves what it measured since its last "
    "good check.",
    Cause.USED_AFTER_ALTERATION: "The probe was used after it was adjusted, repaired or gone, and before anyone had checked it.",
    Cause.FAR_FAILED_AHEAD: "The probe failed a check away from zero. Its checks at zero cannot see that, so nothing since the "
    "last good check there can be relied on.",
    Cause.USED_AFTER_FAR_FAILURE: "The probe was used after it failed a check away from zero and before the next good one there. "
    "A good check at zero does not make up for that.",
}


def reasons(case: Case) -> list[str]:
    """Why these readings are in quarantine, in sentences; each cause once."""
    causes = dict.fromkeys(span.cause for span in case.spans if span.cause)
    return [WHY[Cause(cause)] for cause in causes]


def errors_in_words(case: Case, unit: str) -> list[str]:
    """The errors on either side of each span, for whoever asks how the ranges come about."""
    return list(dict.fromkeys(_error_in_words(bracket, unit) for bracket in brackets_of(case.spans)))


def _error_in_words(bracket: Bracket, unit: str) -> str:
    error = bounds(bracket).at(STATED_AT)
    if error is None:
        return (
            "On one side no check tells how far the probe was off, so its error is not bounded and nothing can be told."
        )
    before, after = (_points_in_words(side, unit) for side in (bracket.start, bracket.end))
    told = f"Error {before} at the check before and {after} at the check after; the truth is the worst case between the two"
    low, high, at = *(show_error(milli, unit) for milli in error), show(STATED_AT, unit, 0)
    if min(len(bracket.start), len(bracket.end)) > 1:
        why = "the straight line between the checked temperatures is trusted but for a small bend"
    else:
        why = "an allowance grows with the distance from the temperature that was checked"
    return f"{told}: {why}. At {at} the error lay between {low} and {high}."


def _points_in_words(side: tuple[ErrorAt, ...], unit: str) -> str:
    points = sorted(side, key=lambda point: point.temperature)
    return " and ".join(
        f"{show_error(p.error, unit)} {show_spread(p.expanded, unit)} {_checked_at(p, unit)}" for p in points
    )


def _checked_at(point: ErrorAt, unit: str) -> str:
    return "at zero" if abs(point.temperature) < 50 else f"at {show(point.temperature, unit)}"


def decision_in_words(decision: Decision, zone: tzinfo) -> list[str]:
    """What was given for a decision: why, and what else it rests on."""
    lines = [decision.why] if decision.why else []
    if good := decision.good_reading:
        at = styled(good.taken_at, zone, "short")
        lines.append(f"Taken again: {good.typed} {good.get_unit_display()}, probe {good.probe_then.code}, {at}")
    named = (("Risk", decision.risk), ("Told", decision.told), ("Evidence", decision.evidence))
    return lines + [f"{name}: {text}" for name, text in named if text]


def decisions_on(probe: Probe) -> QuerySet[Decision]:
    """Every decision on readings by this probe, in whatever case."""
    return Decision.objects.filter(probe=probe).select_related("recorded_by")


def standing_decisions(case: Case) -> QuerySet[Decision]:
    """The last decision on each reading of this case that counts, by whomever."""
    last = Decision.objects.current().live("reading").filter(probe=case.probe)
    return last.filter(reading__taken_at__gt=case.spans[0].starts_at, reading__taken_at__lte=case.spans[-1].ends_at)


def counted(fates: dict[str, int]) -> list[str]:
    """How many readings have which decision, such as “3 discarded”."""
    return [f"{fates[fate]} {fate.label.split(':')[0].lower()}" for fate in Fate if fates.get(fate)]


def meaning_for(case: Case, person: Person) -> str:
    """What a signature says, and of how many of the decisions signed the signer is the one who made them. One query."""
    own = standing_decisions(case).filter(decided_by=person).count()
    if own < case.readings or not own:
        return MEANING + (MADE_SOME.format(own, case.readings) if own else "")
    return MEANING + MADE_ALL.format("all of them" if own > 1 else "it")
