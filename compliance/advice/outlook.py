"""What lies ahead of a probe, as the measurement found it (forecast.py). No database, no clock."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from compliance.probes.models import Probe

from .probe_history import DAY, Past, PastCheck, PastEvent, Tried

if TYPE_CHECKING:
    from compliance.metrology.drift import Trend
    from compliance.metrology.intervals import Advice, AtStake

URGENT = ("out", "soon", "moving", "drifting", "unknown", "steady")
STEPS = 24
SHORTEST_VIEW, LONGEST_VIEW = 60.0, 366.0  # days that a forecast is shown for


@dataclass(frozen=True, slots=True)
class Jump:
    """A sudden change between two checks, °C, and what happened to the probe meanwhile."""

    after: datetime
    before: datetime
    size: float
    event: PastEvent | None

    @property
    def explained(self) -> bool:
        return self.event is not None and self.event.alters


@dataclass(frozen=True, slots=True)
class Ahead:
    """One time of the forecast, °C."""

    at: datetime
    centre: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class Outlook:
    """`trend` and what follows from it is None with too few checks; `advice` is what the measurement advises."""

    past: Past
    now: datetime
    target: int
    trend: "Trend | None"
    leaves: datetime | None
    surely_until: datetime | None
    warned: datetime | None
    jumps: tuple[Jump, ...]
    own: tuple[Tried, ...]
    alike: tuple[tuple[Tried, ...], ...]
    advice: "Advice"

    @property
    def probe(self) -> Probe:
        return self.past.probe

    @property
    def every_days(self) -> int:
        """The days between its checks as they are now."""
        return self.past.every_days

    @property
    def last(self) -> PastCheck | None:
        return self.past.seen[-1] if self.past.seen else None

    @property
    def failed(self) -> bool:
        """Whether its last check at zero found it out of tolerance."""
        return self.last is not None and not self.last.passed

    @property
    def acceptable(self) -> bool:
        """Whether there is an interval to accept: advice there is, and no probe that has to be put right first."""
        return self.advice.days is not None and not self.failed

    @property
    def adjust_first(self) -> bool:
        """Whether its drift leaves not even a day, though its last check passed: it has to be adjusted or replaced."""
        return self.advice.adjust_first and not self.failed

    @property
    def drifts(self) -> bool:
        """Whether the trend is more than the scatter of its checks would show by itself."""
        return self.trend is not None and abs(self.trend.slope) > 2 * self.trend.slope_standard

    @property
    def state(self) -> str:
        """In a word, for a badge: out, soon (it may leave before its next check), moving, drifting, steady or unknown."""
        if self.failed:
            return "out"
        if self.trend is None:
            return "unknown"
        if self.adjust_first or (self.surely_until and self.surely_until < self._next_check()):
            return "soon"
        return "moving" if self.warned else "drifting" if self.drifts else "steady"

    @property
    def urgency(self) -> tuple:
        """Sorts the most urgent first: by state, then by how soon its tolerance is no longer sure."""
        until = (self.surely_until - self.now) / DAY if self.surely_until else float("inf")
        return URGENT.index(self.state), until, self.probe.code

    def _next_check(self) -> datetime:
        return max(self.now, self.last.at + timedelta(days=self.every_days))

    def at_stake(self, days: int) -> "AtStake | None":
        """What checking every so many days means at the pace of this probe; None without readings."""
        return self.advice.at_stake(self.past.per_day, [days])[0] if self.past.per_day else None

    def figures(self) -> dict:
        """What the advice rests on, plain enough to be kept: °C, days, times in UTC."""
        trend, advice = self.trend, self.advice
        return {
            "checks": len(self.past.seen),
            "slope_per_day": trend and trend.slope,
            "slope_standard": trend and trend.slope_standard,
            "level": trend and trend.level,
            "level_standard": trend and trend.level_standard,
            "expected_to_leave": self.leaves and self.leaves.isoformat(),
            "sure_until": self.surely_until and self.surely_until.isoformat(),
            "own_trials": [[t.days, t.checks, t.failures] for t in self.own],
            "alike": len(self.alike),
            "alike_trials": [[t.days, t.checks, t.failures] for trials in self.alike for t in trials],
            "readings_per_day": self.past.per_day,
            "advised": [advice.low, advice.days, advice.high],
            "adjust_first": advice.adjust_first,
            "why": list(advice.why),
        }

    def ahead(self) -> list[Ahead]:
        """The forecast from the last check on, as far as is worth a look."""
        if self.trend is None:
            return []
        reach = self._reach()
        return [self._ahead_at(self.trend.last + reach * step / STEPS) for step in range(STEPS + 1)]

    def smoothed(self) -> list[tuple[datetime, float]]:
        """The error at each check with its scatter averaged out, °C."""
        if self.trend is None:
            return []
        return [(self._time(at), error) for at, error in zip(self.trend.times, self.trend.smoothed, strict=True)]

    def _reach(self) -> float:
        """Days after the last check: past the dates that are told, and a good part of what has been."""
        since_last = (self.now - self.last.at) / DAY
        told = [(at - self.last.at) / DAY * 1.15 for at in (self.surely_until, self.leaves) if at]
        near = [days for days in told if days < LONGEST_VIEW + since_last]
        spanned = (self.trend.last - self.trend.first) / 2
        return min(max(SHORTEST_VIEW + since_last, min(near, default=0.0), spanned), LONGEST_VIEW + since_last)

    def _ahead_at(self, day: float) -> Ahead:
        found = self.trend.predict(day)
        return Ahead(self._time(day), found.centre, found.low, found.high)

    def _time(self, day: float) -> datetime:
        return time_of(self.past, day)


def time_of(past: Past, day: float) -> datetime:
    """The time of a day on the clock of the points."""
    return past.seen[0].at + timedelta(days=day)
