"""From checks to spans: what the readings of a probe are worth, from the checks on either side of them.

A probe's timeline is cut at each conclusive check and at each alteration (an adjustment or a repair). A span is half
open, (start, end]: a reading at the very time of a failed check lies in the span that the check condemns.

Source: 9 CFR 417.3(b) and the training for HACCP plans make a failed check reach back to the last good one; how
simultaneous records are ordered, and that an alteration condemns what nobody checked first, is our own judgement.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from itertools import groupby

from .vocabulary import Stage, Standing, Verdict


class MarkKind(StrEnum):
    """What happened at one moment of a timeline."""

    GOOD_AS_FOUND = "good_as_found"
    FAILED_AS_FOUND = "failed_as_found"
    ALTERATION = "alteration"
    GOOD_AS_LEFT = "good_as_left"
    FAILED_AS_LEFT = "failed_as_left"


class Cause(StrEnum):
    """Why a span is in quarantine. Where both ends condemn it, the cause is what is behind."""

    FAILED_AHEAD = "failed_ahead"
    USED_AFTER_FAILURE = "used_after_failure"
    ALTERED_UNCHECKED = "altered_unchecked"
    USED_AFTER_ALTERATION = "used_after_alteration"


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A check or an alteration. `at` is an aware time, `key` names the record, `order` is the order of recording."""

    at: datetime
    kind: MarkKind
    key: str
    order: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """(start, end] of a timeline, in UTC; None where it has no beginning or no end.

    `behind` is the check whose error holds at the start, `ahead` the as-found check at the end. `anchor` is the mark
    that began an unbroken run of quarantined spans and `cause` why this one is in it; both None outside quarantine.
    """

    start: datetime | None
    end: datetime | None
    standing: Standing
    behind: str | None
    ahead: str | None
    anchor: str | None
    cause: Cause | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Instant:
    """All that happened at one time: the check as found, then the alteration, then the check as left."""

    at: datetime
    found: Mark | None
    altered: Mark | None
    left: Mark | None

    @property
    def first(self) -> Mark:
        """What speaks of the time before: a check as left only tells that something was altered."""
        return _present(self.found, self.altered, self.left)

    @property
    def last(self) -> Mark:
        """What speaks of the time after."""
        return _present(self.left, self.altered, self.found)

    @property
    def vouches_backwards(self) -> bool:
        return self.first.kind is MarkKind.GOOD_AS_FOUND

    @property
    def vouches_forwards(self) -> bool:
        return self.last.kind in (MarkKind.GOOD_AS_FOUND, MarkKind.GOOD_AS_LEFT)


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


def cut(marks: Iterable[Mark]) -> tuple[Span, ...]:
    """The spans of one timeline, in order, without a gap from the beginning of time to its end.

    The order in which marks are given does not matter. Where several fall on one instant, checks as found come before
    alterations and those before checks as left; among checks of one stage a failed one wins over good ones, and of
    equals the one recorded last speaks.

    Args:
        marks: what happened to one probe, at aware times (no unit).

    Returns:
        At least one span; times are in UTC. No marks give a single unproven span.

    Raises:
        ValueError: if a time has no zone.
    """
    marks = tuple(marks)
    for mark in marks:
        if mark.at.utcoffset() is None:
            raise ValueError(f"The time of {mark.key} has no zone; give an aware time.")
    ordered = sorted(marks, key=_utc)
    instants = [_instant(at, list(group)) for at, group in groupby(ordered, key=_utc)]
    spans: list[Span] = []
    for start, end in zip([None, *instants], [*instants, None], strict=True):
        spans.append(_span(start, end, spans[-1] if spans else None))
    return tuple(spans)


def _utc(mark: Mark) -> datetime:
    """Local times would compare by the clock on the wall, which repeats an hour when summer time ends."""
    return mark.at.astimezone(UTC)


def _instant(at: datetime, marks: list[Mark]) -> _Instant:
    return _Instant(
        at=at,
        found=_weightiest(marks, MarkKind.FAILED_AS_FOUND) or _weightiest(marks, MarkKind.GOOD_AS_FOUND),
        altered=_weightiest(marks, MarkKind.ALTERATION),
        left=_weightiest(marks, MarkKind.FAILED_AS_LEFT) or _weightiest(marks, MarkKind.GOOD_AS_LEFT),
    )


def _weightiest(marks: list[Mark], kind: MarkKind) -> Mark | None:
    """Of the marks of one kind the one recorded last; the key breaks a tie, so that any order of arrival agrees."""
    alike = (mark for mark in marks if mark.kind is kind)
    return max(alike, key=lambda mark: (mark.order, mark.key), default=None)


def _present(*marks: Mark | None) -> Mark:
    return next(mark for mark in marks if mark is not None)


def _span(start: _Instant | None, end: _Instant | None, previous: Span | None) -> Span:
    cause = _cause(start, end)
    return Span(
        start=start.at if start else None,
        end=end.at if end else None,
        standing=_standing(start, end, cause),
        behind=_behind(start),
        ahead=end.found.key if end and end.found else None,
        anchor=_anchor(start, end, previous),
        cause=cause,
    )


def _cause(start: _Instant | None, end: _Instant | None) -> Cause | None:
    if start and not start.vouches_forwards:
        altered = start.last.kind is MarkKind.ALTERATION
        return Cause.USED_AFTER_ALTERATION if altered else Cause.USED_AFTER_FAILURE
    if end and not end.vouches_backwards:
        return Cause.FAILED_AHEAD if end.found else Cause.ALTERED_UNCHECKED
    return None


def _standing(start: _Instant | None, end: _Instant | None, cause: Cause | None) -> Standing:
    if cause is not None:
        return Standing.QUARANTINED
    if start is None:
        return Standing.UNPROVEN
    return Standing.PENDING if end is None else Standing.PROVEN


def _anchor(start: _Instant | None, end: _Instant | None, previous: Span | None) -> str | None:
    """A run goes on where nothing vouches at the joint, so that both sides of a failed check are one matter."""
    if start and not start.vouches_forwards:
        carried = previous.anchor if previous else None
        return start.last.key if carried is None else carried
    return end.first.key if end and not end.vouches_backwards else None


def _behind(start: _Instant | None) -> str | None:
    if start is None or start.last.kind is MarkKind.ALTERATION:
        return None
    return start.last.key
