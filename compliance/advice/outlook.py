"""What lies ahead of a probe: its history put to the measurement, and what came out. No database, no clock."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from compliance.metrology import control_chart, drift, intervals, reliability
from compliance.probes.models import EventKind, Probe

from .probe_history import DAY, Past, PastCheck, PastEvent, Tried, tried

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
class Alike:
    """Probes of one kind with their trials, those with most checks first, and what they show, worked out once for all."""

    probes: tuple[int, ...]
    trials: tuple[tuple[Tried, ...], ...]
    fleet: reliability.Fleet

    @classmethod
    def of(cls, kind: dict[int, list[Tried]]) -> "Alike":
        """From the trials of each probe, by its key."""
        most_first = sorted(kind, key=lambda pk: -sum(t.checks for t in kind[pk]))
        trials = tuple(tuple(kind[pk]) for pk in most_first)
        return cls(tuple(most_first), trials, reliability.fleet_of([_trials(each) for each in trials]))

    def but(self, probe: int, most: int) -> "Alike":
        """The others, at most so many."""
        kept = [place for place, pk in enumerate(self.probes) if pk != probe][:most]
        return Alike(tuple(self.probes[n] for n in kept), tuple(self.trials[n] for n in kept), self.fleet.of(kept))


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
    trend: drift.Trend | None
    leaves: datetime | None
    surely_until: datetime | None
    warned: datetime | None
    jumps: tuple[Jump, ...]
    own: tuple[Tried, ...]
    alike: tuple[tuple[Tried, ...], ...]
    advice: intervals.Advice

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

    def at_stake(self, days: int) -> intervals.AtStake | None:
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


def look_ahead(past: Past, others: Alike, *, target: int, now: datetime) -> Outlook:
    """Put a probe's history, and the trials of the others of its kind, to the measurement."""
    points = points_of(past)
    enough = len(points) >= drift.FEWEST_POINTS
    trend = drift.trend(points) if enough else None
    crossing = drift.leaves_tolerance(trend, _tolerance(past.probe)) if trend else None
    signal = control_chart.early_warning(points, _last_jump(trend)) if trend else None
    own = tuple(tried(past))
    return Outlook(
        past=past,
        now=now,
        target=target,
        trend=trend,
        leaves=_maybe(past, crossing and crossing.central),
        surely_until=_maybe(past, crossing and crossing.earliest),
        warned=past.seen[signal].at if signal is not None else None,
        jumps=_jumps(past, trend),
        own=own,
        alike=others.trials,
        advice=intervals.advise(
            trend, _trials(own), tolerance=_tolerance(past.probe), target=target / 100, fleet=others.fleet
        ),
    )


def _trials(tried: Sequence[Tried]) -> list[reliability.Trial]:
    return [reliability.Trial(interval=t.days, failures=t.failures, checks=t.checks) for t in tried]


def points_of(past: Past) -> list[drift.ErrorPoint]:
    """The checks as the measurement takes them: days from the first one, °C."""
    befores = (None, *past.seen)
    return [
        drift.ErrorPoint(
            at=(seen.at - past.seen[0].at) / DAY,
            error=seen.error_milli / 1000,
            standard=min(max(seen.standard_milli / 1000, 0.001), 100.0),
            after_adjustment=before is not None and (seen.as_left or _altered(past, before.at, seen.at)),
        )
        for before, seen in zip(befores, past.seen, strict=False)
    ]


def time_of(past: Past, day: float) -> datetime:
    """The time of a day on the clock of the points."""
    return past.seen[0].at + timedelta(days=day)


def _altered(past: Past, start: datetime, end: datetime) -> bool:
    return any(e.alters and start < e.at <= end for e in past.happened)


def _tolerance(probe: Probe) -> float:
    return probe.tolerance_milli / 1000


def _maybe(past: Past, day: float | None) -> datetime | None:
    return None if day is None else time_of(past, day)


def _last_jump(trend: drift.Trend) -> int:
    return max((change.position for change in trend.changes), default=0)


def _jumps(past: Past, trend: drift.Trend | None) -> tuple[Jump, ...]:
    return tuple(_jump(past, change) for change in trend.changes) if trend else ()


def _jump(past: Past, change: drift.ErrorJump) -> Jump:
    before, first = past.seen[change.position - 1], past.seen[change.position]
    between = [e for e in past.happened if before.at <= e.at <= first.at]
    event = next((e for e in between if e.alters), next((e for e in between if e.kind == EventKind.DROPPED), None))
    return Jump(before.at, first.at, change.size, event)
