"""Why a case is open again, in sentences: what its decisions or its signature rested on, and what has changed since."""

from collections import Counter
from dataclasses import dataclass
from datetime import tzinfo

from django.db.models import Subquery

from compliance.checks.models import Check, CheckVoid
from compliance.checks.span_times import reached_at
from compliance.metrology.bracketing import Cause
from compliance.metrology.vocabulary import Outcome
from compliance.readings.models import Reading, ReadingVoid
from shared.append_only import Void
from shared.plurals import noun, plural
from shared.time_text import styled, zoned_moment

from .assessing import lost_groups
from .cases import Case
from .grounds import Lost

SAID = {Outcome.HELD: "the limit held", Outcome.UNDECIDED: "cannot be told", Outcome.BROKEN: "the limit was broken"}
# Of one reading, beside it.
SHORT = {
    Lost.STRUCK: "the reading measured again was struck out",
    Lost.DOUBTED: "the reading measured again has come into doubt itself",
    Lost.UNFIT: "the reading measured again is not a later one under the same limit at the same site",
    Lost.GRAVER: "what can be said of it is graver than when it was decided",
}
IN_DOUBT = {
    Cause.FAILED_AHEAD: "its probe failed the next check",
    Cause.USED_AFTER_FAILURE: "its probe had failed a check before",
    Cause.ALTERED_UNCHECKED: "its probe was adjusted or repaired, or is gone, without a check first",
    Cause.GONE_UNCHECKED: "its probe is gone and can never be checked again",
    Cause.USED_AFTER_ALTERATION: "its probe had been adjusted, repaired or gone, and not been checked since",
    Cause.FAR_FAILED_AHEAD: "its probe failed the next check away from zero",
    Cause.USED_AFTER_FAR_FAILURE: "its probe had failed a check away from zero before",
}
UNKEPT = "It was decided before this book kept what a decision rests on."
BESIDE = "A check at boiling beside them, an adjustment or the kind of sensor on record has changed since."


@dataclass(frozen=True, slots=True)
class Reopened:
    heading: str
    lines: list[str]


def reopened(case: Case, zone: tzinfo) -> Reopened | None:
    """None where nothing that was decided or signed has lost its ground."""
    if not case.lost and (case.signature or not case.signatures):
        return None
    lines = _Changes(case, zone).lines() if case.lost else []
    if not case.signatures:
        return Reopened("To be decided again", lines)
    came = case.undecided - case.lost
    if came:
        lines.append(
            f"{plural(came, 'reading')} came into the case since and {noun(came, 'is', 'are')} still to be decided on."
        )
    if all(signature.case != case.anchor for signature in case.signatures):
        lines.append("It was signed as another case: the check or event that it begins with is another one now.")
    if struck := case.struck_since(case.signatures[-1]):
        were = noun(len(struck), "was", "were")
        lines.append(f"{plural(len(struck), 'reading')} of it {were} struck out or corrected since it was signed.")
    elif not (case.undecided or lines):
        lines.append("Readings of it were decided on, or came in already decided on, since it was signed.")
    last, then = case.signatures[-1], "open again" if case.undecided else "to be signed again"
    return Reopened(f"Signed by {last.signed_name} on {styled(last.recorded_at, zone, 'day')}; {then}", lines)


class _Changes:
    """What has changed under the decisions of a case: a few queries, however many there are."""

    def __init__(self, case: Case, zone: tzinfo):
        self._zone = zone
        self._groups = [_Group(row[0], row[1], row[2:4], row[4:7], row[7:10], row[10]) for row in _groups_of(case)]
        goods = {group.good for group in self._groups if group.good}
        checks = {pk for group in self._groups for pk in (*group.was, *group.now) if pk}
        readings = Reading.objects.select_related("probe").annotate(cause=Subquery(reached_at().values("cause")[:1]))
        self._readings, self._checks = readings.in_bulk(goods), Check.objects.in_bulk(checks)
        self._struck = _by_struck(ReadingVoid.objects.filter(voids__in=goods))
        self._struck_checks = _by_struck(CheckVoid.objects.filter(voids__in=checks))

    def lines(self) -> list[str]:
        told: Counter[str] = Counter()
        for group in self._groups:
            told[self._graver(group) if group.lost == Lost.GRAVER else self._again(group)] += group.count
        return [f"{plural(n, 'reading')} must be decided again: {words}" for words, n in told.items()]

    def _again(self, group: "_Group") -> str:
        reading = self._readings[group.good]
        name = f"{reading.item} {reading.typed} {reading.get_unit_display()}, probe {reading.probe_then.code}"
        good = f"the reading measured again ({name}, {zoned_moment(reading.taken_at, self._zone)})"
        if group.lost == Lost.STRUCK:
            return f"{good} {self._struck_out(self._struck[reading.pk])}"
        if group.lost == Lost.UNFIT:
            return f"{good} is not a later one under the same limit at the same site."
        return (
            f"{good} has come into doubt itself: {IN_DOUBT.get(reading.cause, 'no good check vouches for its probe')}."
        )

    def _graver(self, group: "_Group") -> str:
        before, now = (SAID[Outcome(outcome)] for outcome in group.outcomes)
        return " ".join([f"“{before}” when it was decided, “{now}” now.", *(self._changed(group) or [BESIDE])])

    def _changed(self, group: "_Group") -> list[str]:
        """Which checks count no more, and which count instead."""
        if not any(group.was):
            return [UNKEPT]
        gone = [self._checks[pk] for pk in group.was if pk and pk not in group.now]
        struck = [(check, self._struck_checks[check.pk]) for check in gone if check.pk in self._struck_checks]
        lines = [f"The check of {self._made(check)} {self._struck_out(void)}" for check, void in struck]
        instead = {void.replacement_id for _, void in struck}
        new = [self._checks[pk] for pk in group.now if pk and pk not in group.was and pk not in instead]
        return lines + [
            f"The check of {self._made(c)} counts now, entered {zoned_moment(c.recorded_at, self._zone)}." for c in new
        ]

    def _made(self, check: Check) -> str:
        return zoned_moment(check.checked_at, self._zone)

    def _struck_out(self, void: Void) -> str:
        verb = "corrected" if void.replacement_id else "struck out"
        at, reason = zoned_moment(void.recorded_at, self._zone), void.reason.rstrip(".")
        return f"was {verb} on {at} by {void.name_of()}: {reason}."


@dataclass(frozen=True, slots=True)
class _Group:
    lost: str
    good: int | None
    outcomes: tuple[str, str]
    was: tuple[int | None, ...]
    now: tuple[int | None, ...]
    count: int


def _groups_of(case: Case) -> list[tuple]:
    return lost_groups(case.spans, tuple(case.sites))


def _by_struck(voids) -> dict[int, Void]:
    return {void.voids_id: void for void in voids.prefetch_related("recorded_by__names")}
