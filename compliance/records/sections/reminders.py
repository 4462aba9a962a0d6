"""What fell due in the period, against what was done: missed stays missed, and excuses are printed with their reason."""

from collections import Counter
from collections.abc import Iterator

from django.db.models import Exists, F, OuterRef, QuerySet

from compliance.reminders.models import Excuse, Reminder
from compliance.reminders.queries import Told, asked_for, tell
from compliance.reminders.status import Status, doubted_readings
from shared.plurals import plural
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import moment

from ..formatting import sentence
from ..scope import RecordScope

COLUMNS = [
    Column("Due", points=72),
    Column("What was asked for", share=2),
    Column("What became of it", points=62),
    Column("When", points=72),
    Column("By", points=24),
]
COUNTED = (
    Status.CLEARED,
    Status.EXCUSED,
    Status.CANCELLED,
    Status.MISSED,
    Status.OVERDUE,
    Status.DUE,
    Status.NOT_ASKED,
)
WORDS = {
    Status.CLEARED: "done",
    Status.EXCUSED: "excused",
    Status.MISSED: "MISSED",
    Status.OVERDUE: "overdue",
    Status.DUE: "due",
    Status.UPCOMING: "to come",
    Status.CANCELLED: "not asked for",
    Status.NOT_ASKED: "not asked in time",
}
EXPLAINED = (
    "Done means that a check which came to a verdict, or the reading that was asked for, was made before the next was due; a "
    "reading only with a probe that was to be relied on, as known when it was entered. Nothing else counts as done. An excuse "
    "leaves it in this list. Not asked for means that, before its time was over, nothing asked for it any more; the line says "
    "why. Not owed means that it was not done in time, and that this was later found not to be owed. Not asked in time means "
    "that it follows from something that was entered when its time was over: it was neither done nor missed. "
    "Done late means after the time that the plan allows once something has fallen due."
)


def write(writer: Writer, scope: RecordScope) -> None:
    writer.heading("Planned and done")
    asked = asked_for(scope.site, scope.start, scope.reached, scope.now).order_by("due_at", "pk")
    if not asked.exists():
        writer.paragraph(scope.none("Nothing fell due at this site in the period, or nothing was planned yet."))
        return
    writer.facts([(f"Of {plural(asked.count(), 'due time')}", ", ".join(_counted(asked)))])
    writer.table(COLUMNS, _rows(tell(asked), scope), empty="Nothing fell due.")
    writer.paragraph(EXPLAINED, small=True)


def _counted(asked: QuerySet[Reminder]) -> list[str]:
    """How many came to what. What was excused when it had been missed counts as both."""
    counts = Counter(asked.order_by().values_list("status", flat=True))
    late = Excuse.objects.live().filter(reminder=OuterRef("pk"), recorded_at__gte=OuterRef("closes_at"))
    afterwards = asked.filter(Exists(late), status=Status.EXCUSED).count()
    not_owed = asked.filter(status=Status.CANCELLED, cancelled_at__gte=F("grace_at")).count()
    counts[Status.EXCUSED] -= afterwards
    counts[Status.CANCELLED] -= not_owed
    told = [f"{counts[each]} {WORDS[each].lower()}" for each in COUNTED if counts[each]]
    too_late = asked.filter(status=Status.CLEARED, cleared_at__gte=F("grace_at")).count()
    if too_late:
        told[0] += f" ({too_late} of them late)"
    doubted = asked.annotate(doubted=Exists(doubted_readings())).filter(reading_id=None, doubted=True).count()
    more = {
        "missed and excused afterwards": afterwards,
        "not done in time and not owed": not_owed,
        "of them taken with a probe not to be relied on": doubted,
    }
    return told + [f"{count} {words}" for words, count in more.items() if count]


def _rows(told: Iterator[Told], scope: RecordScope) -> Iterator[Row]:
    for each in told:
        reminder: Reminder = each.reminder
        when, by = _done(each, scope)
        cells = (moment(reminder.due_at, scope.zone), f"{each.title}: {reminder.because}", _became(each), when, by)
        yield Row(cells, note=_note(each, scope))


def _became(told: Told) -> str:
    if told.excused_late:
        return "MISSED, excused"
    return "done late" if told.done_late else "not owed" if told.not_owed else WORDS[told.status]


def _done(told: Told, scope: RecordScope) -> tuple[str, str]:
    """When it was done and by whom."""
    if told.check:
        return moment(told.check.checked_at, scope.zone), scope.people.initials_of(told.check, "checked_by")
    if told.reading:
        return moment(told.reading.taken_at, scope.zone), scope.people.initials_of(told.reading, "taken_by")
    return "", ""


def _note(told: Told, scope: RecordScope) -> str:
    doubted = (
        told.doubted and f"R{told.doubted.pk} was taken with a probe that was not to be relied on: it is not counted."
    )
    return " ".join(filter(None, (_reason(told, scope), doubted)))


def _reason(told: Told, scope: RecordScope) -> str:
    if told.not_owed:
        return f"Not done in time; later found not to be owed, because {sentence(told.reminder.cancelled_because)}"
    if told.status == Status.CANCELLED:
        since = moment(told.reminder.cancelled_at, scope.zone)
        return f"Not asked for since {since}: {sentence(told.reminder.cancelled_because)}"
    if told.unfit:
        return f"R{told.reading.pk} was taken with a probe that was not OK to use: {told.reading.get_fitness_display().lower()}."
    if told.excuse is None or told.status != Status.EXCUSED:
        return ""
    who, at = scope.people.initials_of(told.excuse), moment(told.excuse.recorded_at, scope.zone)
    late = "Missed, and e" if told.excused_late else "E"
    return f"{late}xcused by {who}, {at}: {sentence(told.excuse.reason)}"
