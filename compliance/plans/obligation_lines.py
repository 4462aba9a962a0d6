"""The rows of what a probe is to be checked for, one window after the other. No clock, no database."""

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

from compliance.metrology.vocabulary import CheckKind

from .demands import CheckDemand
from .schedule import TICK

OPEN_END = datetime(9999, 12, 30, tzinfo=UTC)
ASKED_AGAIN = "asked for anew before its grace was over: {}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Obligation:
    """One check that is asked for, of one point of the scale: a conclusive one made in (opens, closes] answers it.

    `day` is the local day that the plan names; None where something asks at once. Cancelled: from then on nothing asks for it.
    """

    point: CheckKind
    site: int
    due: datetime
    grace_ends: datetime
    opens: datetime
    closes: datetime
    because: str
    day: date | None = None
    done: datetime | None = None
    cancelled: datetime | None = None
    cancelled_because: str = ""

    @property
    def ended(self) -> bool:
        """Whether a withdrawal, a move or a closing for good ended it, so that what was not done before counts no longer."""
        return self.cancelled is not None and not self.cancelled_because.startswith(ASKED_AGAIN.partition("{")[0])


@dataclass(slots=True)
class WaitingRow:
    demand: CheckDemand
    site: int
    opens: datetime
    grace_ends: datetime
    planned: "Planned | None" = None
    closes: datetime | None = None
    done_at: datetime | None = None
    cancelled: datetime | None = None
    cancelled_because: str = ""

    def told(self, point: CheckKind) -> Obligation:
        return Obligation(
            point=point,
            site=self.site,
            due=self.demand.at,
            grace_ends=self.grace_ends,
            opens=self.opens,
            closes=self.closes or OPEN_END,
            because=self.demand.because,
            day=self.planned and self.planned.day,
            done=self.done_at,
            cancelled=self.cancelled,
            cancelled_because=self.cancelled_because,
        )


@dataclass(frozen=True, slots=True)
class Planned:
    """What a plan asks for; `origin` is that before it was put off to the arrival of the probe, and then `day` is None."""

    demand: CheckDemand
    day: date | None
    grace: timedelta
    origin: CheckDemand


class PointLine:
    """The rows of one point of the scale. One window follows the other: a check is for one row alone."""

    def __init__(self, point: CheckKind):
        self.point = point
        self.rows: list[WaitingRow] = []
        self._dues: set[datetime] = set()

    @property
    def waiting(self) -> WaitingRow | None:
        """What is asked for and not done, if it is not over."""
        last = self.rows[-1] if self.rows else None
        return last if last and last.closes is None and last.done_at is None else None

    def has(self, due: datetime) -> bool:
        return due in self._dues

    def add(self, demand: CheckDemand, site: int, grace: timedelta, planned: Planned | None = None) -> None:
        """What a failed check asks for gives way to nothing. Anything else that waits ends where this begins, and where its
        grace was not over this has what is left of it: nobody gains time by dropping a probe."""
        waiting, last = self.waiting, self.rows[-1] if self.rows else None
        if waiting and waiting.demand.of_failure:
            return
        if demand.at in self._dues:
            if last is None or last.cancelled != demand.at:
                return
            demand = replace(demand, at=demand.at + TICK)  # it was cancelled at the very moment at which it fell due
        by_plan = planned is not None and planned.day is not None
        row = WaitingRow(demand, site, demand.after or demand.at - TICK, demand.at + grace, planned)
        if waiting:
            row.opens = demand.at - TICK if by_plan else row.opens
            if waiting.grace_ends > demand.at:
                waiting.cancelled, waiting.cancelled_because = demand.at, ASKED_AGAIN.format(demand.because)
            if waiting.grace_ends > demand.at or not by_plan:
                row.grace_ends = max(demand.at, min(row.grace_ends, waiting.grace_ends))
        if last:
            row.opens = max(row.opens, last.opens, last.done_at or last.opens, last.closes or last.opens)
            last.closes = last.closes or row.opens
        self._dues.add(demand.at)
        self.rows.append(row)

    def cancel(self, at: datetime, because: str) -> None:
        if row := self.waiting:
            row.closes = row.cancelled = at
            row.cancelled_because = because
