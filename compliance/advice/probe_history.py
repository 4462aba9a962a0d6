"""A probe's history as the advice takes it. No database."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby, pairwise

from compliance.plans.schedule import STARTING
from compliance.probes.models import ALTERATIONS, Probe

DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class PastCheck:
    """A live, conclusive check at zero: the error that it found and its uncertainties, in milli-kelvin."""

    at: datetime
    error_milli: int
    expanded_milli: int
    standard_milli: float
    passed: bool
    as_left: bool


NO_FIGURE = "no_figure"


@dataclass(frozen=True, slots=True)
class PastEvent:
    """What happened to a probe; so counts a failed check without a figure, after which it may well be another probe."""

    at: datetime
    kind: str
    label: str

    @property
    def alters(self) -> bool:
        return self.kind in ALTERATIONS or self.kind == NO_FIGURE


@dataclass(frozen=True, slots=True)
class Tried:
    """So many intervals of this length between two checks, the first of them good, and in how many the second failed."""

    days: float
    checks: int
    failures: int


@dataclass(frozen=True, slots=True)
class Past:
    """One probe's history, oldest first; `every_days` are the days between its checks by the plan in force."""

    probe: Probe
    seen: tuple[PastCheck, ...] = ()
    happened: tuple[PastEvent, ...] = ()
    per_day: float | None = None
    every_days: int = STARTING.days

    @property
    def as_found(self) -> list[PastCheck]:
        return [s for s in self.seen if not s.as_left]


def tried(past: Past) -> list[Tried]:
    """The trials of one probe: intervals that began with a good check and in which nothing was altered."""
    pairs = [(a, b) for a, b in pairwise(past.seen) if a.passed and not b.as_left and not _altered(past, a.at, b.at)]
    lengths = sorted((_quarters((b.at - a.at) / DAY), not b.passed) for a, b in pairs)
    return [
        Tried(days, len(group), sum(failed for _, failed in group))
        for days, grouped in groupby(lengths, key=lambda pair: pair[0])
        for group in [list(grouped)]
        if days
    ]


def _altered(past: Past, start: datetime, end: datetime) -> bool:
    return any(e.alters and start <= e.at <= end for e in past.happened)


def _quarters(days: float) -> float:
    """Lengths are told apart to a quarter of a day: checks are made at breakfast, or after lunch."""
    return round(days * 4) / 4
