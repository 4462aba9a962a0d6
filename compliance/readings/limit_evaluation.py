"""Whether a reading meets its limit, in words, and what casts a doubt on it. No database in it."""

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from decimal import Decimal

from compliance.limits.equivalence import is_equivalent
from compliance.limits.models import Direction, LimitVersion
from compliance.limits.wording import figure
from compliance.probes.models import OUT_OF_USE, EventKind, Probe
from shared import units
from shared.time_text import duration

from .data import ReadingData

LONGEST_HOLD_S = 7 * 24 * 3600
LONGEST_SINCE_S = 7 * 24 * 3600
HOTTEST_FOOD = 105_000  # milli-degrees, 221 °F; a little above boiling water, and few foods get hotter; judgement


def read_typed(typed: str, unit: str) -> int:
    """What somebody typed, in milli-degrees Celsius. Raises ValueError saying what to type."""
    return units.read(typed, unit)


def too_hot_for_food(typed: str, unit: str, milli: int) -> str:
    """The question that a reading hotter than food gets raises; empty for any other."""
    if milli <= HOTTEST_FOOD:
        return ""
    asked = "is the display in °F?" if unit == units.Unit.CELSIUS else "was the decimal point missed?"
    return f"{typed.strip()} {units.Unit(unit).label} is hotter than food gets: {asked}"


def breach(version: LimitVersion, milli: int, hold_s: int | None, since_start_s: int | None = None) -> str:
    """Why this does not meet the limit, in words; empty where it does, or is on its way. At the limit is within it."""
    reasons = []
    if on_its_way(version, milli, since_start_s):
        return ""
    if version.breached_by(milli):
        side = "above" if version.direction == Direction.AT_MOST else "below"
        reasons.append(
            f"{_apart(milli, version)} is {side} the limit of {_limit(version)}{_after(version, since_start_s)}"
        )
    if version.hold_s and hold_s is not None and hold_s < version.hold_s:
        held = duration(hold_s) or "0 s"
        reasons.append(f"held for {held}, the limit asks for {duration(version.hold_s)}")
    if reasons and is_equivalent(version, milli, hold_s):
        asked = f"{figure(version.value, version.unit)} for {duration(version.hold_s)}"
        reasons.append(f"{_apart(milli, version)} for {duration(hold_s)} is equivalent to {asked}")
    return "; ".join(reasons)


def on_its_way(version: LimitVersion, milli: int, since_start_s: int | None) -> bool:
    """Whether food is still to reach its limit, and the time for it has not run out."""
    timed = bool(version.within_s) and since_start_s is not None
    return timed and since_start_s < version.within_s and version.breached_by(milli)


def reached_late(version: LimitVersion, milli: int, since_start_s: int | None) -> bool:
    """Whether a limit was met when its time had run out, so that nobody knows whether it was reached in time."""
    timed = bool(version.within_s) and since_start_s is not None
    return timed and since_start_s > version.within_s and not version.breached_by(milli)


def beginning(version: LimitVersion) -> str:
    """What has to have begun for a limit with a time within which to reach it."""
    return "cooling" if version.direction == Direction.AT_MOST else "heating"


def untimed(version: LimitVersion, hold_s: int | None, since_start_s: int | None = None) -> str:
    """What to look at where a limit asks for a time and none is given, in words; empty where nothing is missing."""
    missing = []
    if version.hold_s and hold_s is None:
        missing.append(f"the limit asks for {duration(version.hold_s)}, and no time is given")
    if version.within_s and since_start_s is None:
        missing.append(
            f"the limit is to be reached within {duration(version.within_s)}, "
            f"and no time since {beginning(version)} began is given"
        )
    return "; ".join(missing)


def doubts_of(version: LimitVersion | None, track: "Track", data: ReadingData) -> list[str]:
    """What should make somebody look again before a reading is saved, in words."""
    milli = read_typed(data.typed, data.unit)
    hot = too_hot_for_food(data.typed, data.unit, milli)
    missing = untimed(version, data.hold_s, data.since_start_s) if version else ""
    told = (hot, *track.doubts(milli, data.site.pk, data.taken_at), missing[:1].upper() + missing[1:])
    return [words for words in told if words]


def _after(version: LimitVersion, since_start_s: int | None) -> str:
    if not version.within_s or since_start_s is None:
        return ""
    after = duration(since_start_s) or "0 s"
    return f" {after} after {beginning(version)} began; it was to be reached within {duration(version.within_s)}"


def _limit(version: LimitVersion) -> str:
    return f"{version.get_direction_display()} {figure(version.value, version.unit)}"


def _apart(milli: int, version: LimitVersion) -> str:
    """The value with as many digits as it takes to look different from the limit."""
    for digits in (1, 2, 3):
        if units.number(units.from_milli(milli, version.unit), digits) != units.number(Decimal(version.value), digits):
            break
    return units.show(milli, version.unit, digits)


@dataclass(slots=True)
class Track:
    """Where a probe was meant to be, and whether it was in use: its placements and the events that took it out or back."""

    probe: Probe
    starts: list[datetime] = field(default_factory=list)
    sites: list[int] = field(default_factory=list)
    turns: list[datetime] = field(default_factory=list)
    out: list[bool] = field(default_factory=list)

    @classmethod
    def of(cls, probe: Probe, placements: Iterable[tuple], events: Iterable[tuple]) -> "Track":
        """From (site_id, starts_at) and (kind, at) rows in order of time; times all aware, or all naive UTC."""
        track = cls(probe)
        for site_id, starts_at in placements:
            track.starts.append(starts_at)
            track.sites.append(site_id)
        for kind, at in events:
            if kind in (*OUT_OF_USE, EventKind.RETURNED):
                track.turns.append(at)
                track.out.append(kind in OUT_OF_USE)
        return track

    @property
    def quiet(self) -> tuple[datetime | None, int | None]:
        """From when on, and at which site, nothing about time and place casts a doubt."""
        if not self.starts or (self.out and self.out[-1]):
            return None, None
        return max([self.starts[-1], *self.turns[-1:]]), self.sites[-1]

    def doubts(self, milli: int, site_id: int, at: datetime) -> list[str]:
        """What to look at before trusting a reading taken with this probe, in words."""
        return [words for words in (self._range(milli, at), self._use(at), self._place(site_id, at)) if words]

    def _range(self, milli: int, at: datetime) -> str:
        probe = self.probe.particulars_at(at if at.tzinfo else at.replace(tzinfo=UTC))
        if probe.lowest_milli <= milli <= probe.highest_milli:
            return ""
        low, high = units.show(probe.lowest_milli, "C", 0), units.show(probe.highest_milli, "C", 0)
        return f"{units.show(milli)} is outside the working range of {probe.code}, {low} to {high}"

    def _use(self, at: datetime) -> str:
        turn = bisect_right(self.turns, at)
        return f"{self.probe.code} was withdrawn from use at that time" if turn and self.out[turn - 1] else ""

    def _place(self, site_id: int, at: datetime) -> str:
        turn = bisect_right(self.starts, at)
        if not turn:
            return f"{self.probe.code} had not been placed anywhere yet at that time"
        return "" if self.sites[turn - 1] == site_id else f"{self.probe.code} was placed at another site at that time"
