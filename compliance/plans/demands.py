"""When the next check of a probe is due, and why: from its checks and from what happened to it. No clock, no database."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import lru_cache

from compliance.metrology.failures_away_from_zero import SAME_WORK
from compliance.metrology.marks import speaks_for
from compliance.metrology.vocabulary import (
    ALTERATIONS,
    MAKES_CHECK_DUE,
    OUT_OF_USE,
    CheckKind,
    EventKind,
    Stage,
    Verdict,
)

from . import schedule
from .calendar import Calendar
from .schedule import TICK, Plan, Stretch, counts_after, due_on, first_due_day


@dataclass(frozen=True, slots=True)
class Checked:
    """A live check: when, what it said of which temperature; `order` is the order of recording, which breaks ties.

    An inconclusive one may have `showed` a number beyond the tolerance; `unfinished` is how it ended where nobody finished it.
    """

    at: datetime
    verdict: str
    stage: str
    order: int
    kind: str = CheckKind.ZERO
    reference_milli: int = 0
    conditional: bool | None = False
    showed: str | None = None
    unfinished: str | None = None

    @property
    def at_zero(self) -> bool:
        """Whether it speaks for the zero point; if not, for temperatures away from it."""
        return _at_zero(self.kind, self.reference_milli)


@lru_cache(maxsize=1000)
def _at_zero(kind: str, reference_milli: int) -> bool:
    return speaks_for(CheckKind(kind), reference_milli / 1000) is CheckKind.ZERO


@dataclass(frozen=True, slots=True)
class Happened:
    """A live event of the probe."""

    at: datetime
    kind: str
    order: int
    note: str = ""


@dataclass(frozen=True, slots=True)
class CheckDemand:
    """`at` is None while nothing is due. A check answers it that is made `after` a moment; `away`: one away from zero."""

    at: datetime | None
    because: str
    after: datetime | None = None
    away: bool = False


@dataclass(frozen=True, slots=True)
class Outstanding:
    """What asks for a check at once, if anything does, and the good check from which the plan counts, if there is one.

    `reasons` are all that ask for one at once, the first of them first. `settled` is when the last check at zero told which
    way it is, or the probe came back after that.
    """

    at_once: CheckDemand | None
    last: Checked | None
    reasons: tuple[CheckDemand, ...] = ()
    settled: datetime | None = None


WITHDRAWN = "withdrawn from use"
NEVER_OPEN = CheckDemand(None, "closed for more than a year to come")
CLOSED = "the site is closed for good"
CAME = "; due since it came here"
REOPENED = "; due since the site opened again"
NEAR_THE_EDGE = "near the edge at its last check"
INCONCLUSIVE, OUT_OF_TOLERANCE = "the last check was inconclusive", "out of tolerance at its last "
UNFINISHED = "an unfinished check showed "
PUT_ASIDE = "put aside and not checked since"
BECAUSE_OF_EVENT = {
    EventKind.ADJUSTED: "adjusted and not checked since",
    EventKind.REPAIRED: "repaired and not checked since",
    EventKind.DROPPED: "dropped and not checked since",
    EventKind.DOUBTED: "somebody doubted it",
    EventKind.NEW_BATTERY: "new battery and not checked since",
    EventKind.RETURNED: "returned to use and not checked since",
}

TURNS = (*OUT_OF_USE, EventKind.RETURNED)
# How a reason begins that is no plan's.
AT_ONCE = (*BECAUSE_OF_EVENT.values(), PUT_ASIDE, INCONCLUSIVE, UNFINISHED, OUT_OF_TOLERANCE)


def is_withdrawn(events: Iterable[Happened]) -> bool:
    """Whether the last withdrawal has not been followed by a return."""
    return any(back is None for _, back in absences(events))


def absences(events: Iterable[Happened]) -> list[tuple[Happened, datetime | None]]:
    """Each withdrawal from use in order, and when the probe returned; None where it has not."""
    found: list[tuple[Happened, datetime | None]] = []
    for turn in sorted((e for e in events if e.kind in TURNS), key=lambda e: (e.at, e.order)):
        gone = bool(found) and found[-1][1] is None
        if turn.kind in OUT_OF_USE and not gone:
            found.append((turn, None))
        elif turn.kind == EventKind.RETURNED and gone:
            found[-1] = (found[-1][0], turn.at)
    return found


def outstanding(checks: Iterable[Checked], events: Iterable[Happened], since: datetime) -> Outstanding:
    """What the checks and events alone say, whatever the plan.

    Nothing is due of the time before a return to use: what was asked for then is asked for again from the return on.
    """
    checks, events = list(checks), list(events)
    if is_withdrawn(events):
        return Outstanding(_put_aside(checks, events), None)
    last = latest(checks, at_zero=True)
    near = _reasons([c for c in checks if c.at_zero], events, last, since)
    away = _away_from_zero([c for c in checks if not c.at_zero], last)
    back = max((back for _, back in absences(events) if back), default=None)
    reasons = sorted([not_before(back, due) for due in (*near, *away)], key=lambda due: due.at)
    good = last and last.verdict == Verdict.IN_TOLERANCE and (back is None or last.at >= back)
    settled = max((at for at in (last and moment(last), back) if at), default=None)
    return Outstanding(reasons[0] if reasons else None, last if good else None, reasons=tuple(reasons), settled=settled)


def not_before(begin: datetime | None, due: CheckDemand, words: str = "") -> CheckDemand:
    """What was due before a moment is due at it, and to be done after it; `words` are added to the reason."""
    if begin is None or due.at is None or due.at >= begin:
        return due
    after = begin - TICK if due.after is None else max(due.after, begin - TICK)
    return replace(due, at=begin, because=f"{due.because}{words}", after=after)


def by_plan(
    at: datetime, plans: Sequence[Stretch], calendar: Calendar, near_edge: bool
) -> tuple[CheckDemand, Plan, date]:
    """What the plan asks for after the good check of a moment; the plan that does, and the day that it names."""
    plan, day = first_due_day(plans, calendar, at, near_edge)
    due, after = due_on(plan, calendar, day), counts_after(plan, calendar, day, near_edge)
    return said(plan, due, near_edge, after), plan, day


def said(plan: Plan, due: schedule.Due | None, near_edge: bool, after: datetime | None = None) -> CheckDemand:
    """The plan's due time with its reason: of a check that passed near the edge, that it is sooner than usual."""
    if due is None:
        return NEVER_OPEN
    because, moved, why = due.because.partition("; ")
    return CheckDemand(due.at, f"{NEAR_THE_EDGE if near_edge and plan.interval > 1 else because}{moved}{why}", after)


def _away_from_zero(checks: list[Checked], last: Checked | None) -> Iterator[CheckDemand]:
    """A good check away from zero never moves the date of the next one at zero; a failed one makes a check due at once.

    One made as left tells of an adjustment, which no check at zero has followed yet unless that was part of the same work.
    """
    told = latest(checks, at_zero=False)
    for check in checks:
        if check.showed and check.verdict == Verdict.INCONCLUSIVE and (told is None or place(check) > place(told)):
            yield CheckDemand(check.at, _inconclusive(check), moment(check), away=True)
    if told and told.verdict == Verdict.OUT_OF_TOLERANCE:
        where = "boiling check" if told.kind == CheckKind.BOILING else "certificate away from zero"
        yield CheckDemand(moment(told) + 2 * TICK, f"{OUT_OF_TOLERANCE}{where}", moment(told), away=True)
    for left in (c for c in checks if c.stage == Stage.AS_LEFT and c.verdict != Verdict.INCONCLUSIVE):
        if last is None or (place(left) > place(last) and not _same_work(last, left)):
            yield CheckDemand(left.at, BECAUSE_OF_EVENT[EventKind.ADJUSTED], moment(left))


def _put_aside(checks: list[Checked], events: list[Happened]) -> CheckDemand | None:
    """What it read since its last good check waits for the next one, wherever the probe lies.

    None where a check could prove nothing any more: it failed, was altered or is gone, or was never good.
    """
    near, away = (latest(checks, at_zero=at_zero) for at_zero in (True, False))
    [*_, (begun, _)] = absences(events)
    failed = near is None or any(c and c.verdict == Verdict.OUT_OF_TOLERANCE for c in (near, away))
    if failed or any(not _answers(near, e) for e in events if e.kind in ALTERATIONS) or _answers(near, begun):
        return None
    return CheckDemand(begun.at, PUT_ASIDE, begun.at - TICK)


def _same_work(last: Checked, left: Checked) -> bool:
    return last.stage == Stage.AS_LEFT and left.at - last.at <= SAME_WORK


def _reasons(checks, events, last: Checked | None, since: datetime) -> Iterator[CheckDemand]:
    """A failed check asks for another just after it, so that none which it has answered has that due time already."""
    if last is None:
        yield CheckDemand(since, "no check has settled it yet" if checks else "never checked", since - TICK)
    elif last.verdict == Verdict.OUT_OF_TOLERANCE:
        yield CheckDemand(moment(last) + TICK, f"{OUT_OF_TOLERANCE}check", moment(last))
    for check in checks:
        if check.verdict == Verdict.INCONCLUSIVE and (last is None or place(check) > place(last)):
            yield CheckDemand(check.at, _inconclusive(check), moment(check))
    for event in events:
        if event.kind in MAKES_CHECK_DUE and not _answers(last, event):
            after = event.at if event.kind in ALTERATIONS else event.at - TICK
            yield CheckDemand(event.at, BECAUSE_OF_EVENT[EventKind(event.kind)], after)


def _inconclusive(check: Checked) -> str:
    return f"{UNFINISHED}{check.showed}" if check.unfinished and check.showed else INCONCLUSIVE


def moment(check: Checked) -> datetime:
    """Where a check stands on the line of time: one made as left just after one as found of the same moment."""
    return check.at + TICK if check.stage == Stage.AS_LEFT else check.at


def place(check: Checked) -> tuple:
    """Which of several checks speaks last: of those of one minute and one stage, a failed one."""
    return check.at, check.stage == Stage.AS_LEFT, check.verdict == Verdict.OUT_OF_TOLERANCE, check.order


def latest(checks: Iterable[Checked], *, at_zero: bool) -> Checked | None:
    """The last that told, at zero or away from it, which way it is."""
    conclusive = (c for c in checks if c.verdict != Verdict.INCONCLUSIVE and c.at_zero == at_zero)
    return max(conclusive, key=place, default=None)


def _answers(check: Checked | None, event: Happened) -> bool:
    """At one and the same minute an adjustment comes after the check as found, anything else before it."""
    if check is None or check.at < event.at:
        return False
    return check.at > event.at or check.stage == Stage.AS_LEFT or event.kind not in ALTERATIONS
