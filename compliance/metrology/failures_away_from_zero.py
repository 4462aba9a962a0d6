"""When a probe is in doubt away from zero: from the last good check there, through a failed one, to the next good one.

Checks at zero see nothing of such a fault, before the failed check no more than after it; so they neither end the doubt
nor keep it from reaching back. Without any check away from zero there is no doubt: zero alone is then held sufficient.

Source: own judgement after the usual review of results since the last check that could have seen the fault (ISO/IEC
17025:2017, 7.10, from memory); that a check at zero suffices as long as nothing speaks against it is common practice.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import groupby, pairwise

from .marks import Mark, MarkKind

SAME_WORK = timedelta(days=1)  # within which checks as left belong to one adjustment; judgement
FOUND, ALTERED, LEFT = range(3)  # the order of what happened at one time


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """(start, end] between two checks away from zero, one of them failed; None where there is none on that side.

    `failed` is the failed check that speaks for it, the one behind where both failed, and `ahead` tells that it lies
    ahead; `anchor` began the unbroken run of doubts. `twofold` says that both ends failed.
    """

    start: datetime | None
    end: datetime | None
    failed: Mark
    ahead: bool
    anchor: str
    twofold: bool

    def holds(self, start: datetime | None, end: datetime | None) -> bool:
        """Whether (start, end], which no end of a doubt cuts, lies inside."""
        begun = self.start is None or (start is not None and self.start <= start)
        return begun and (self.end is None or (end is not None and end <= self.end))


def utc(mark: Mark) -> datetime:
    """Local times would compare by the clock on the wall, which repeats an hour when summer time ends."""
    return mark.at.astimezone(UTC)


def place(mark: Mark) -> tuple[datetime, int]:
    """Where a mark stands in time: at one time the check as found, then the alteration, then the check as left."""
    return utc(mark), ALTERED if mark.kind is MarkKind.ALTERATION else LEFT if mark.as_left else FOUND


def away_from_zero(marks: Iterable[Mark]) -> list[Mark]:
    """The checks that speak for temperatures away from zero."""
    return [mark for mark in marks if not mark.at_zero and mark.kind is not MarkKind.ALTERATION]


def doubts(marks: Iterable[Mark]) -> list[Doubt]:
    """The times in doubt, in order. They do not overlap, and one between checks of the same time is empty."""
    ordered = sorted(away_from_zero(marks), key=place)
    words = [_weightiest(list(group)) for _, group in groupby(ordered, key=place)]
    found: list[Doubt] = []
    anchor = None
    for behind, ahead in pairwise([None, *words, None]):
        failed = next((word for word in (behind, ahead) if word is not None and word.failed), None)
        if failed is None:
            anchor = None
            continue
        anchor = anchor if anchor and failed is behind else failed.key
        found.append(
            Doubt(
                start=utc(behind) if behind else None,
                end=utc(ahead) if ahead else None,
                failed=failed,
                ahead=failed is ahead,
                anchor=anchor,
                twofold=bool(behind and ahead and behind.failed and ahead.failed),
            )
        )
    return found


def _weightiest(marks: Sequence[Mark]) -> Mark:
    """Of checks of one time and stage a failed one, of equals the one recorded last."""
    return max(marks, key=lambda mark: (mark.failed, mark.order, mark.key))


def unrecorded(marks: Sequence[Mark]) -> list[Mark]:
    """Alterations that only a check away from zero, made as left, tells of.

    It was made after an adjustment. Unless an alteration or another check as left within a day before explains it, with
    no check as found between, the adjustment itself was never recorded: nothing shows what the probe is worth at zero.
    """
    found = []
    for left in (mark for mark in away_from_zero(marks) if mark.as_left):
        before = [mark for mark in marks if _before(mark, left)]
        last = max(before, key=place, default=None)
        explained = last is not None and place(last)[1] != FOUND and utc(left) - utc(last) <= SAME_WORK
        if not explained:
            found.append(Mark(at=left.at, kind=MarkKind.ALTERATION, key=left.key, order=left.order))
    return found


def _before(mark: Mark, left: Mark) -> bool:
    """A check at zero as left at the very same time comes before one away from zero."""
    beside = place(mark) == place(left) and mark.at_zero
    return place(mark) < place(left) or beside


def altered_times(marks: Iterable[Mark]) -> list[datetime]:
    """When the probe was altered, UTC: at each alteration, and just before each check as left."""
    return [utc(mark) for mark in marks if mark.as_left or mark.kind is MarkKind.ALTERATION]


def parted(start: datetime | None, end: datetime | None, failed: Mark, altered: Iterable[datetime]) -> bool:
    """Whether the probe was altered between a time, (start, end], and a failed check before or after it."""
    at, stage = place(failed)
    if end is not None and end <= at:
        return any((end, FOUND) <= (when, ALTERED) < (at, stage) for when in altered)
    return start is not None and any((at, stage) < (when, ALTERED) <= (start, LEFT) for when in altered)
