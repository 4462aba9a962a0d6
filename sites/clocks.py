"""The clock on the wall of a site whose time zone was changed: each moment is shown as it was shown then."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta, tzinfo
from functools import lru_cache
from itertools import groupby
from zoneinfo import ZoneInfo


@lru_cache(maxsize=4096)
def clock_of(zone: str, former: tuple[tuple[str, str], ...] = ()) -> tzinfo:
    """The clock that goes by `zone`; `former`: what it went by before and until when (ISO 8601), the first first."""
    turns = [(name, list(until)[-1][1]) for name, until in groupby(former, key=lambda turn: turn[0])]
    if turns and turns[-1][0] == zone:
        turns.pop()
    return ChangedClock(turns, zone) if turns else ZoneInfo(zone)


class ChangedClock(tzinfo):
    """A time zone until a moment, another one from then on. Local times that the change skips or repeats are told apart by
    `fold`, like those of summer time (PEP 495)."""

    def __init__(self, former: Sequence[tuple[str, str]], present: str):
        self._zones = [ZoneInfo(name) for name, _ in former] + [ZoneInfo(present)]
        self._until = [datetime.fromisoformat(until) for _, until in former]

    def fromutc(self, at: datetime) -> datetime:
        moment = at.replace(tzinfo=UTC)
        place = sum(until <= moment for until in self._until)
        local = moment.astimezone(self._zones[place]).replace(tzinfo=self)
        return local if self._place(local) == place else local.replace(fold=1 - local.fold)

    def utcoffset(self, local: datetime | None) -> timedelta | None:
        return local and self._in_zone(local).utcoffset()

    def dst(self, local: datetime | None) -> timedelta | None:
        return local and self._in_zone(local).dst()

    def tzname(self, local: datetime | None) -> str | None:
        return local and self._in_zone(local).tzname()

    def _in_zone(self, local: datetime) -> datetime:
        return local.replace(tzinfo=self._zones[self._place(local)])

    def _place(self, local: datetime) -> int:
        """Which of the zones shows a local time: the first that is not over then, or the last that has begun. They differ where
        the change skips or repeats it."""
        moments = [local.replace(tzinfo=zone) for zone in self._zones]
        unfinished = next((n for n, until in enumerate(self._until) if moments[n] < until), len(self._until))
        begun = next((n for n in range(len(self._until), 0, -1) if moments[n] >= self._until[n - 1]), 0)
        return max(unfinished, begun) if local.fold else min(unfinished, begun)
