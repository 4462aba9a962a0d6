"""From checks to spans: what the readings of a probe are worth, from the checks on either side of them.

A probe's timeline is cut at each conclusive check at zero and at each alteration (an adjustment, a repair, or that it is
gone). A span is half open, (start, end]: a reading at the very time of a failed check lies in the span that it condemns.

Checks away from zero (at boiling, a certificate's) vouch for nothing by themselves. A failed one condemns from the last
good check away from zero to the next good one, whatever the checks at zero say; see `failures_away_from_zero`.

Source: 9 CFR 417.3(b) and the training for HACCP plans make a failed check reach back to the last good one; how
simultaneous records are ordered, and that an alteration condemns what nobody checked first, is our own judgement.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from itertools import groupby, pairwise

from .failures_away_from_zero import Doubt, altered_times, away_from_zero, doubts, parted, unrecorded, utc
from .marks import CheckFinding, Mark, MarkKind, mark_kind, speaks_for, weigh
from .vocabulary import Standing

__all__ = ["Cause", "CheckFinding", "Mark", "MarkKind", "TimelineSpan", "cut", "mark_kind", "speaks_for", "weigh"]


class Cause(StrEnum):
    """Why a span is in quarantine. Where both ends condemn it, the cause is what is behind.

    What the checks at zero and the alterations condemn has its cause from them, whatever happened away from zero.
    """

    FAILED_AHEAD = "failed_ahead"
    USED_AFTER_FAILURE = "used_after_failure"
    ALTERED_UNCHECKED = "altered_unchecked"
    GONE_UNCHECKED = "gone_unchecked"
    USED_AFTER_ALTERATION = "used_after_alteration"
    FAR_FAILED_AHEAD = "far_failed_ahead"
    USED_AFTER_FAR_FAILURE = "used_after_far_failure"


@dataclass(frozen=True, slots=True, kw_only=True)
class TimelineSpan:
    """(start, end] of a timeline, in UTC; None where it has no beginning or no end.

    `behind` is the check at zero whose error holds at the start, `ahead` the as-found one at the end. `anchor` is the mark
    that began an unbroken run of quarantined spans and `cause` why this one is in it; both None outside quarantine.

    `doubt` is the failed check away from zero, before or after the span, that puts it in doubt, even where its cause is
    another: whoever bounds the error must take that check in as well. Where it cannot bound it, because the probe was
    altered between, or failed away from zero on both sides, `behind` is None, as wherever nothing bounds the error.
    """

    start: datetime | None
    end: datetime | None
    standing: Standing
    behind: str | None
    ahead: str | None
    anchor: str | None
    cause: Cause | None
    doubt: str | None = None


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


def cut(marks: Iterable[Mark]) -> tuple[TimelineSpan, ...]:
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
    return _doubted(_cut_at_zero(marks), doubts(marks), marks)


def _cut_at_zero(marks: Sequence[Mark]) -> list[TimelineSpan]:
    far = set(away_from_zero(marks))
    ordered = sorted([*(mark for mark in marks if mark not in far), *unrecorded(marks)], key=utc)
    instants = [_instant(at, list(group)) for at, group in groupby(ordered, key=utc)]
    spans: list[TimelineSpan] = []
    for start, end in pairwise([None, *instants, None]):
        spans.append(_span(start, end, spans[-1] if spans else None))
    return spans


def _doubted(spans: Sequence[TimelineSpan], found: Sequence[Doubt], marks: Sequence[Mark]) -> tuple[TimelineSpan, ...]:
    """The spans, cut where a doubt begins and ends, and those inside a doubt put in quarantine."""
    edges = sorted({edge for doubt in found for edge in (doubt.start, doubt.end) if edge is not None})
    pieces = [piece for span in spans for piece in _pieces(span, edges)]
    altered = altered_times(marks)
    return tuple(_in_doubt(piece, found, altered) for piece in pieces)


def _pieces(span: TimelineSpan, edges: Sequence[datetime]) -> list[TimelineSpan]:
    inside = [
        edge for edge in edges if (span.start is None or span.start < edge) and (span.end is None or edge < span.end)
    ]
    return [replace(span, start=start, end=end) for start, end in pairwise([span.start, *inside, span.end])]


def _in_doubt(span: TimelineSpan, found: Sequence[Doubt], altered: Sequence[datetime]) -> TimelineSpan:
    doubt = next((doubt for doubt in found if doubt.holds(span.start, span.end)), None)
    if doubt is None:
        return span
    unbounded = doubt.twofold or parted(span.start, span.end, doubt.failed, altered)
    span = replace(span, doubt=doubt.failed.key, behind=None if unbounded else span.behind)
    if span.standing is Standing.QUARANTINED:
        return span
    cause = Cause.FAR_FAILED_AHEAD if doubt.ahead else Cause.USED_AFTER_FAR_FAILURE
    return replace(span, standing=Standing.QUARANTINED, anchor=doubt.anchor, cause=cause)


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


def _span(start: _Instant | None, end: _Instant | None, previous: TimelineSpan | None) -> TimelineSpan:
    cause = _cause(start, end)
    return TimelineSpan(
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
        if end.found:
            return Cause.FAILED_AHEAD
        return Cause.GONE_UNCHECKED if end.altered and end.altered.gone else Cause.ALTERED_UNCHECKED
    return None


def _standing(start: _Instant | None, end: _Instant | None, cause: Cause | None) -> Standing:
    if cause is not None:
        return Standing.QUARANTINED
    if start is None:
        return Standing.UNPROVEN
    return Standing.PENDING if end is None else Standing.PROVEN


def _anchor(start: _Instant | None, end: _Instant | None, previous: TimelineSpan | None) -> str | None:
    """A run goes on where nothing vouches at the joint, so that both sides of a failed check are one matter."""
    if start and not start.vouches_forwards:
        carried = previous.anchor if previous else None
        return start.last.key if carried is None else carried
    return end.first.key if end and not end.vouches_backwards else None


def _behind(start: _Instant | None) -> str | None:
    if start is None or start.last.kind is MarkKind.ALTERATION:
        return None
    return start.last.key
