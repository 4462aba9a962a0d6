"""What is stored of what was asked for, beside what the facts say when all of them are folded anew.

Some differences are known: what the stored rows promise and the fold does not, or the other way about. They have names.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from compliance.checks.models import Check
from compliance.checks.probe_facts import probe_facts
from compliance.metrology.vocabulary import CheckKind, Verdict
from compliance.plans.calendar import LONG_PAST
from compliance.plans.demands import OUT_OF_TOLERANCE, Checked, moment
from compliance.plans.obligation_lines import ASKED_AGAIN, Obligation
from compliance.plans.obligations import ProbeFacts, check_obligations
from compliance.probes.models import Event, Placement, Probe
from compliance.reminders.models import Reminder
from compliance.reminders.status import Status, with_status
from sites.models import Site

BATCH = 50
SAME_DAY = timedelta(hours=22)  # two days of a plan are further apart, also where the clocks go forward
AGAIN = ASKED_AGAIN.partition("{")[0]


@dataclass(frozen=True, slots=True)
class Difference:
    """Of one due time; `known` says which known difference it is, and is empty where something is wrong."""

    subject: str
    site: Site
    due: datetime
    stored: str
    folded: str
    known: str = ""


@dataclass(frozen=True, slots=True)
class Folded:
    """A row of the fold, what has become of it by now, and when it was done."""

    row: Obligation
    status: Status
    done_at: datetime | None


@dataclass(frozen=True, slots=True)
class Entered:
    """When something was so, when it was entered, and when it was struck out."""

    at: datetime
    recorded_at: datetime
    struck_at: datetime | None = None

    def later_than(self, due: datetime) -> bool:
        return self.at <= due < max(self.recorded_at, self.struck_at or self.recorded_at)


@dataclass(frozen=True, slots=True)
class Pair:
    """What is stored and what the facts say of one due time, with all that they say of the probe."""

    due: datetime
    stored: Reminder | None
    folded: Folded | None
    all_folded: Mapping[datetime, Folded]
    entered: Iterable[Entered]
    changed: Iterable[date]  # the days on which plans or days of work were set
    now: datetime

    @property
    def both(self) -> bool:
        return self.stored is not None and self.folded is not None

    @property
    def same(self) -> bool:
        one, other = self.stored and self.stored.status, self.folded and self.folded.status
        return one == other or {one, other} == {None, Status.CANCELLED} or one == Status.EXCUSED


def _behind_a_failure(pair: Pair) -> bool:
    return pair.folded is None and any(_failed(each) and each.row.due < pair.due <= _until(each, pair.now)
                                       for each in pair.all_folded.values())  # fmt: skip


def _until(each: Folded, now: datetime) -> datetime:
    return each.done_at or min(each.row.closes, now)


def _failed(each: Folded) -> bool:
    return OUT_OF_TOLERANCE in each.row.because


def _closes_earlier(pair: Pair) -> bool:
    over = pair.both and pair.folded.status in (Status.CANCELLED, Status.MISSED)
    return over and (
        pair.folded.row.cancelled_because.startswith(AGAIN) or pair.folded.row.closes < pair.stored.closes_at
    )


def _second_of_a_day(pair: Pair) -> bool:
    if pair.folded is None:
        return any(each.row.day and abs(each.row.due - pair.due) < SAME_DAY for each in pair.all_folded.values())
    return pair.both and pair.stored.status == Status.MISSED and pair.stored.closes_at < pair.folded.row.closes


KNOWN: dict[str, Callable[[Pair], bool]] = {
    "asked for by a plan while a failed check waited for its answer": _behind_a_failure,
    "a failed check counts as missed when the plan asks next": lambda pair: (
        pair.both and _failed(pair.folded) and pair.stored.status == Status.MISSED
    ),
    "open beside what asked for a check after it": _closes_earlier,
    "asked for at once with a grace of its own while another waited": lambda pair: (
        pair.both and pair.folded.row.day is None and pair.folded.row.grace_ends < pair.stored.grace_at
    ),
    "with the grace of an earlier plan": lambda pair: (
        pair.both and pair.folded.row.grace_ends != pair.stored.grace_at
        and {pair.stored.status, pair.folded.status} == {Status.DUE, Status.OVERDUE}
    ),
    "asked for again on a day that had its row": _second_of_a_day,
    "not asked for on the day on which its plan was changed, at a time that was still to come": lambda pair: (
        pair.stored is None and pair.folded.row.day is not None
        and pair.folded.row.day in pair.changed
    ),
    "done, though by now nothing asks for it": lambda pair: (
        pair.folded is None and pair.stored.status == Status.CLEARED
    ),
    "no longer asked for, by what was entered after it had fallen due": lambda pair: (
        pair.both and pair.stored.status == Status.CANCELLED and "entered after" in pair.stored.cancelled_because
    ),
    "not asked for in time: it follows from what was entered or struck out later": lambda pair: (
        pair.stored is None and any(each.later_than(pair.due) for each in pair.entered)
    ),
}  # fmt: skip


def differences_of_checks(now: datetime) -> Iterator[Difference]:
    """Of all probes, a few at a time."""
    keys = list(Probe.objects.order_by("pk").values_list("pk", flat=True))
    for start in range(0, len(keys), BATCH):
        probes = Probe.objects.select_related("site__area").filter(pk__in=keys[start : start + BATCH])
        yield from _differences_of(list(probes), now)


def _differences_of(probes: list[Probe], now: datetime) -> Iterator[Difference]:
    facts, entered = probe_facts(probes), _entered(probes)
    rows = with_status(Reminder.objects.filter(probe__in=probes, due_at__lte=now).select_related("site"), now)
    stored: dict[int, dict[datetime, Reminder]] = {}
    for row in rows.order_by("probe", "due_at"):
        stored.setdefault(row.probe_id, {})[row.due_at] = row
    for probe in probes:
        folded, kept = fold(facts[probe.pk], now), stored.get(probe.pk, {})
        told = {at for stay in facts[probe.pk].stays for at in stay.changes() if at != LONG_PAST}
        changed = {day for at in told for day in (at.date(), at.astimezone(probe.site.zone).date())}
        for due in sorted(folded.keys() | kept.keys()):
            pair = Pair(due, kept.get(due), folded.get(due), folded, entered[probe.pk], changed, now)
            if not pair.same:
                known = next((why for why, holds in KNOWN.items() if holds(pair)), "")
                yield Difference(str(probe), probe.site, due, _said(pair.stored), _said(pair.folded), known)


def _said(row: Reminder | Folded | None) -> str:
    return Status(row.status).label if row else "not asked for"


def fold(facts: ProbeFacts, now: datetime) -> dict[datetime, Folded]:
    """What the facts say that was asked for by now, by its due time; of two points of the scale due together the zero point."""
    found: dict[datetime, Folded] = {}
    for row in check_obligations(facts, now):
        done = min((check.at for check in facts.checks if _answers(check, row)), default=None)
        if row.due <= now and row.due not in found:
            found[row.due] = Folded(row, _status(row, done, now), done)
    return found


def _answers(check: Checked, row: Obligation) -> bool:
    point = CheckKind.ZERO if check.at_zero else CheckKind.BOILING
    conclusive = check.verdict != Verdict.INCONCLUSIVE
    return conclusive and point == row.point and row.opens < moment(check) and check.at <= row.closes


def _status(row: Obligation, done: datetime | None, now: datetime) -> Status:
    if done:
        return Status.CLEARED
    if row.cancelled:
        return Status.CANCELLED
    return Status.MISSED if row.closes <= now else Status.OVERDUE if row.grace_ends <= now else Status.DUE


def _entered(probes: list[Probe]) -> dict[int, list[Entered]]:
    """Of the checks, events and placements of each."""
    found: dict[int, list[Entered]] = {probe.pk: [] for probe in probes}
    for model, at, void in ((Check, "checked_at", True), (Event, "at", True), (Placement, "starts_at", False)):
        names = ["probe", at, "recorded_at", *(["void__recorded_at"] if void else [])]
        for pk, *told in model.objects.filter(probe__in=probes).order_by().values_list(*names):
            found[pk].append(Entered(*told))
    return found
