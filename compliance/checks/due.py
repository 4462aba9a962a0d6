"""When the next check of a probe is due, and why: from its checks and from what happened to it. No clock, no database."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from compliance.metrology.doubts import SAME_WORK
from compliance.metrology.marks import speaks_for
from compliance.metrology.vocabulary import CheckKind, Stage, Verdict
from compliance.probes.models import ALTERATIONS, MAKES_CHECK_DUE, EventKind


@dataclass(frozen=True, slots=True)
class Checked:
    """A live check: when, what it said of which temperature; `order` is the order of recording, which breaks ties."""

    at: datetime
    verdict: str
    stage: str
    order: int
    kind: str = CheckKind.ZERO
    reference_milli: int = 0
    conditional: bool | None = False

    @property
    def at_zero(self) -> bool:
        """Whether it speaks for the zero point; if not, for temperatures away from it."""
        return speaks_for(CheckKind(self.kind), self.reference_milli / 1000) is CheckKind.ZERO


@dataclass(frozen=True, slots=True)
class Happened:
    """A live event of the probe."""

    at: datetime
    kind: str
    order: int


@dataclass(frozen=True, slots=True)
class Due:
    """`at` is None while nothing is due."""

    at: datetime | None
    because: str


SOON = 4  # the part of the interval after which a probe that passed near its edge is checked again; judgement
NEAR_THE_EDGE = "near the edge at its last check"
BECAUSE_OF_EVENT = {
    EventKind.ADJUSTED: "adjusted and not checked since",
    EventKind.REPAIRED: "repaired and not checked since",
    EventKind.DROPPED: "dropped and not checked since",
    EventKind.DOUBTED: "somebody doubted it",
    EventKind.NEW_BATTERY: "new battery and not checked since",
    EventKind.RETURNED: "returned to use and not checked since",
}


def is_withdrawn(events: Iterable[Happened]) -> bool:
    """Whether the last withdrawal has not been followed by a return."""
    turns = [e for e in events if e.kind in (EventKind.WITHDRAWN, EventKind.RETURNED)]
    return bool(turns) and max(turns, key=lambda e: (e.at, e.order)).kind == EventKind.WITHDRAWN


def next_due(checks: Iterable[Checked], events: Iterable[Happened], every_days: int, since: datetime) -> Due:
    """The earliest of all reasons for a check. `since` is when the probe came into use; it counts while nothing was checked."""
    checks, events = list(checks), list(events)
    if is_withdrawn(events):
        return Due(None, "withdrawn from use")
    conclusive = [c for c in checks if c.verdict != Verdict.INCONCLUSIVE]
    last = max((c for c in conclusive if c.at_zero), key=place, default=None)
    near = _reasons([c for c in checks if c.at_zero], events, last, every_days, since)
    away = _away_from_zero([c for c in conclusive if not c.at_zero], last)
    return min([*near, *away], key=lambda due: due.at)


def _away_from_zero(checks: list[Checked], last: Checked | None) -> Iterator[Due]:
    """A good check away from zero never moves the date of the next one at zero; a failed one makes a check due at once.

    One made as left tells of an adjustment, which no check at zero has followed yet unless that was part of the same work.
    """
    latest = max(checks, key=place, default=None)
    if latest and latest.verdict == Verdict.OUT_OF_TOLERANCE:
        where = "boiling check" if latest.kind == CheckKind.BOILING else "certificate away from zero"
        yield Due(latest.at, f"out of tolerance at its last {where}")
    for left in (check for check in checks if check.stage == Stage.AS_LEFT):
        if last is None or (place(left) > place(last) and not _same_work(last, left)):
            yield Due(left.at, BECAUSE_OF_EVENT[EventKind.ADJUSTED])


def _same_work(last: Checked, left: Checked) -> bool:
    return last.stage == Stage.AS_LEFT and left.at - last.at <= SAME_WORK


def _reasons(checks, events, last: Checked | None, every_days: int, since: datetime) -> Iterator[Due]:
    if last is None:
        yield Due(since, "no check has settled it yet" if checks else "never checked")
    elif last.verdict == Verdict.OUT_OF_TOLERANCE:
        yield Due(last.at, "out of tolerance at its last check")
    else:
        near = last.conditional and every_days > 1
        usual = "every day" if every_days == 1 else f"every {every_days} days"
        yield Due(last.at + wait_after(last.conditional, every_days), NEAR_THE_EDGE if near else usual)
    for check in checks:
        if check.verdict == Verdict.INCONCLUSIVE and (last is None or place(check) > place(last)):
            yield Due(check.at, "the last check was inconclusive")
    for event in events:
        if event.kind in MAKES_CHECK_DUE and not _answers(last, event):
            yield Due(event.at, BECAUSE_OF_EVENT[EventKind(event.kind)])


def wait_after(conditional: bool | None, every_days: int) -> timedelta:
    """How long after a good check the next one is due: sooner where it passed near the edge, but not within a day."""
    return timedelta(days=max(1.0, every_days / SOON) if conditional else every_days)


def place(check: Checked) -> tuple:
    """Which of several checks speaks last: of those of one minute and one stage, a failed one."""
    return check.at, check.stage == Stage.AS_LEFT, check.verdict == Verdict.OUT_OF_TOLERANCE, check.order


def _answers(check: Checked | None, event: Happened) -> bool:
    """At one and the same minute an adjustment comes after the check as found, anything else before it."""
    if check is None or check.at < event.at:
        return False
    return check.at > event.at or check.stage == Stage.AS_LEFT or event.kind not in ALTERATIONS
