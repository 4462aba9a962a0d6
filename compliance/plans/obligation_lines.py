"""The rows of what a probe is to be checked for, one window after the other. No clock, no database."""

from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta

from compliance.metrology.vocabulary import CheckKind

from .demands import OUT_OF_TOLERANCE, CheckDemand
from .schedule import TICK

OPEN_END = datetime(9999, 12, 30, tzinfo=UTC)
ASKED_AGAIN = "asked for anew before its grace was over: {}"


@dataclass(frozen=True, slots=True)
class Planned:
    """What a plan asks for; `origin` is that before it was put off to the arrival of the probe, and then `day` is None."""

    demand: CheckDemand
    day: date | None
    grace: timedelta
    origin: CheckDemand


@dataclass(slots=True)
class PlainReminder:
    """The values of a `Reminder`, as the folds ask for them: many are compared, and few become a model to be written."""

    site_id: int
    point: str
    day: date | None
    due_at: datetime
    opens_at: datetime
    grace_at: datetime
    closes_at: datetime
    because: str
    cancelled_at: datetime | None = None
    cancelled_because: str = ""
    probe_id: int | None = None
    round_id: int | None = None
    limit_id: int | None = None
    appliance_id: int | None = None
    recorded_at: datetime | None = None
    late_at: datetime | None = None
    id: int | None = None


@dataclass(slots=True)
class CheckObligation(PlainReminder):
    """One check that is asked for, of one point of the scale: a conclusive one made in (opens_at, closes_at] answers it.

    `planned`: what asks for it, where a plan does. Cancelled: from then on nothing asks for it.
    """

    done_at: datetime | None = None
    planned: Planned | None = field(default=None, compare=False, repr=False)

    @property
    def ended(self) -> bool:
        """Whether a withdrawal, a move or a closing for good ended it, so that what was not done before counts no longer."""
        return self.cancelled_at is not None and not self.cancelled_because.startswith(ASKED_AGAIN.partition("{")[0])

    @property
    def of_failure(self) -> bool:
        """Whether a failed check asks: “withdraw it, adjust or repair it, or check it again”."""
        return self.because.startswith(OUT_OF_TOLERANCE)

    def cancel(self, at: datetime, because: str) -> None:
        self.cancelled_at, self.cancelled_because = at, because[:300]


class PointLine:
    """The rows of one point of the scale of a probe. One window follows the other: a check is for one row alone."""

    def __init__(self, point: CheckKind, probe: int | None):
        self.point, self.probe = point, probe
        self.rows: list[CheckObligation] = []
        self._dues: set[datetime] = set()

    @property
    def waiting(self) -> CheckObligation | None:
        """What is asked for and not done, if it is not over."""
        last = self.rows[-1] if self.rows else None
        return last if last and last.closes_at == OPEN_END and last.done_at is None else None

    def has(self, due: datetime) -> bool:
        return due in self._dues

    def add(self, demand: CheckDemand, site: int, grace: timedelta, planned: Planned | None = None) -> None:
        """What a failed check asks for gives way to nothing. Anything else that waits ends where this begins, and where its
        grace was not over this has what is left of it: nobody gains time by dropping a probe."""
        waiting, last = self.waiting, self.rows[-1] if self.rows else None
        if waiting and waiting.of_failure:
            return
        if demand.at in self._dues:
            if last is None or last.cancelled_at != demand.at:
                return
            demand = replace(demand, at=demand.at + TICK)  # it was cancelled at the very moment at which it fell due
        row = CheckObligation(
            site_id=site,
            point=self.point.value,
            day=planned and planned.day,
            due_at=demand.at,
            opens_at=demand.after or demand.at - TICK,
            grace_at=demand.at + grace,
            closes_at=OPEN_END,
            because=demand.because[:200],
            probe_id=self.probe,
            planned=planned,
        )
        if waiting:
            row.opens_at = demand.at - TICK if row.day else row.opens_at
            if waiting.grace_at > demand.at:
                waiting.cancel(demand.at, ASKED_AGAIN.format(demand.because))
            if waiting.grace_at > demand.at or not row.day:
                row.grace_at = max(demand.at, min(row.grace_at, waiting.grace_at))
        if last:
            ended = last.closes_at if last.closes_at < OPEN_END else last.opens_at
            row.opens_at = max(row.opens_at, last.opens_at, last.done_at or last.opens_at, ended)
            last.closes_at = min(last.closes_at, row.opens_at)
        self._dues.add(demand.at)
        self.rows.append(row)

    def cancel(self, at: datetime, because: str) -> None:
        if row := self.waiting:
            row.closes_at = at
            row.cancel(at, because)
