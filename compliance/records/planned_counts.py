"""What was planned in the period and what became of it, counted once: for the first page, the section and the grid of days."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime

from django.db.models import Exists, F, OuterRef, Q, QuerySet

from compliance.checks.fitness import Fitness
from compliance.limits.models import Limit
from compliance.readings.models import Reading
from compliance.reminders.models import Excuse, Reminder
from compliance.reminders.queries import Told, to_be_told, told_of
from compliance.reminders.status import DOUBTED, Status, with_status

from .scope import RecordScope, once
from .statements import asked

CHECKS = 0  # the place of checks among what is planned; a round has the key of its limit
DONE, LATE = "done", "done late"
NOT_OWED, AFTERWARDS = "not done in time and not owed", "missed and excused afterwards"
BECAME = {
    Status.EXCUSED: "excused",
    Status.MISSED: "missed",
    Status.OVERDUE: "overdue",
    Status.DUE: "due",
    Status.UPCOMING: "to come",
    Status.CANCELLED: "not asked for",
    Status.NOT_ASKED: "not asked in time",
}
ORDER = (
    DONE,
    LATE,
    BECAME[Status.MISSED],
    AFTERWARDS,
    BECAME[Status.OVERDUE],
    BECAME[Status.DUE],
    BECAME[Status.EXCUSED],
    BECAME[Status.CANCELLED],
    NOT_OWED,
    BECAME[Status.NOT_ASKED],
    BECAME[Status.UPCOMING],
)
MISSED = (BECAME[Status.MISSED], AFTERWARDS)
FIELDS = ("due_at", "limit_id", "status", "cleared_at", "grace_at", "cancelled_at", "excused_late", "doubted")


@dataclass(slots=True)
class PlannedCount:
    """Counts of due times by (local day, what was planned, what became of it).

    `doubted`: readings of rounds that are not counted as done, for their probe was not to be relied on.
    """

    counts: Counter = field(default_factory=Counter)
    doubted: int = 0

    def became(self, *, checks: bool | None = None) -> Counter:
        """How many came to what: of checks, of rounds, or of both."""
        told = Counter()
        for (_, what, became), number in self.counts.items():
            if checks is None or checks == (what == CHECKS):
                told[became] += number
        return told

    def on(self, day: date, what: int) -> Counter:
        return Counter({became: self.counts[day, what, became] for became in ORDER if self.counts[day, what, became]})

    @property
    def days(self) -> list[date]:
        return sorted({day for day, *_ in self.counts})

    @property
    def columns(self) -> list[tuple[int, str]]:
        """(key, title) of all that was planned: checks first, then rounds by the title of their limit."""
        keys = {what for _, what, _ in self.counts}
        limits = Limit.objects.filter(pk__in=keys).order_by("title", "pk").values_list("pk", "title")
        return [(CHECKS, "Checks")] * (CHECKS in keys) + list(limits)


@once
def count_planned(scope: RecordScope) -> PlannedCount:
    """What fell due in the period; one query, streamed."""
    planned = PlannedCount()
    for due_at, limit, status, cleared, grace, cancelled, excused_late, doubted in _rows(scope):
        became = _became(status, cleared, grace, cancelled, excused_late)
        planned.counts[due_at.astimezone(scope.zone).date(), limit or CHECKS, became] += 1
        planned.doubted += bool(doubted) and became not in (DONE, LATE)
    return planned


@asked
def _rows(scope: RecordScope) -> QuerySet[Reminder]:
    late = Excuse.objects.live().filter(reminder=OuterRef("pk"), recorded_at__gte=OuterRef("closes_at"))
    found = asked_of(scope).annotate(excused_late=Exists(late), doubted=DOUBTED)
    return found.order_by().values_list(*FIELDS)


def _became(
    status: str, cleared: datetime | None, grace: datetime, cancelled: datetime | None, excused_late: bool
) -> str:
    if status == Status.CLEARED:
        return LATE if cleared >= grace else DONE
    if status == Status.EXCUSED:
        return AFTERWARDS if excused_late else BECAME[Status.EXCUSED]
    if status == Status.CANCELLED:
        return NOT_OWED if cancelled >= grace else BECAME[Status.CANCELLED]
    return BECAME[Status(status)]


def asked_of(scope: RecordScope) -> QuerySet[Reminder]:
    """What fell due in the period, as far as it has come, with its status."""
    fell_due = Reminder.objects.filter(site=scope.site, due_at__gte=scope.start, due_at__lt=scope.reached)
    return with_status(fell_due, scope.now)


def exceptions(scope: RecordScope) -> Iterator[Told]:
    """Of that, all that was not simply done in its time with a probe to be relied on."""
    return told_of(_exceptions(scope))


@asked
def _exceptions(scope: RecordScope) -> QuerySet[Reminder]:
    late = Q(cleared_at__gte=F("grace_at"))
    unfit = Reading.objects.filter(pk=OuterRef("reading_id"), vouched__isnull=True).exclude(
        fitness__in=("", Fitness.OK)
    )
    doubted = Q(reading_id=None, doubted_id__isnull=False)
    found = asked_of(scope).alias(doubted_id=DOUBTED).filter(~Q(status=Status.CLEARED) | late | doubted | Exists(unfit))
    return to_be_told(found.order_by("due_at", "pk"))


def in_words(became: Counter) -> str:
    """Such as “12 done, 2 done late, 1 missed”."""
    return ", ".join(f"{became[word]:,} {word}" for word in ORDER if became[word])
