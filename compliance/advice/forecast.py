"""The history of a probe put to the measurement: what lies ahead of it. No database, no clock."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from compliance.metrology import control_chart, drift, intervals, reliability
from compliance.probes.models import EventKind, Probe

from .outlook import Jump, Outlook, time_of
from .probe_history import DAY, Past, Tried, tried


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
