"""Which boiling check belongs to which check at zero: nothing may have altered the probe between them. No clock, no database."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from compliance.metrology.vocabulary import Stage

# Drift within a week is small beside what a boiling check can tell; common practice, no source.
BELONGS_WITHIN = timedelta(days=7)
FOUND, ALTERED, LEFT = range(3)  # the order of what happened at one and the same minute


@dataclass(frozen=True, slots=True)
class Moment:
    """When a check was made, and its key; `stage` orders it beside an alteration of the same minute."""

    at: datetime
    stage: str
    key: int

    @property
    def place(self) -> tuple[datetime, int]:
        return self.at, LEFT if self.stage == Stage.AS_LEFT else FOUND


def nearest(check: Moment, others: Iterable[Moment], alterations: Iterable[datetime]) -> Moment | None:
    """The nearest of `others` in time, at most a week away on either side, that saw the same probe: no alteration lies between.

    Of two that are equally near, the earlier; of two at one time, the one recorded last.
    """
    altered = [(at, ALTERED) for at in alterations]
    within = [other for other in others if abs(other.at - check.at) <= BELONGS_WITHIN]
    same = [other for other in within if not _parted(check.place, other.place, altered)]
    return min(same, key=lambda other: (abs(other.at - check.at), other.at, -other.key), default=None)


def _parted(one: tuple, other: tuple, altered: Iterable[tuple]) -> bool:
    first, last = sorted((one, other))
    return any(first < place < last for place in altered)
