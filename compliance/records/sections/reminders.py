"""What fell due in the period, against what was done: missed stays missed, and excuses are printed with their reason."""

from collections import Counter
from collections.abc import Iterator

from compliance.reminders.models import Reminder
from compliance.reminders.queries import Told, asked_for, tell
from compliance.reminders.status import Status
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.words import plural

from ..scope import RecordScope
from ..words import moment, sentence

COLUMNS = [
    Column("Due", points=72), Column("What was asked for", share=2), Column("What became of it", points=62),
    Column("When", points=72), Column("By", points=24),
]  # fmt: skip
COUNTED = (Status.CLEARED, Status.EXCUSED, Status.MISSED, Status.OVERDUE, Status.DUE)
WORDS = {
    Status.CLEARED: "done", Status.EXCUSED: "excused", Status.MISSED: "MISSED", Status.OVERDUE: "overdue", Status.DUE: "due",
    Status.UPCOMING: "to come",
}  # fmt: skip
EXPLAINED = (
    "Done means that a check which came to a verdict, or the reading that was asked for, was made before the next was due. "
    "Nothing else counts as done. An excuse leaves it in this list."
)


def write(writer: Writer, scope: RecordScope) -> None:
    writer.heading("Planned and done")
    asked = asked_for(scope.site, scope.start, scope.reached, scope.now).order_by("due_at", "pk")
    if not asked.exists():
        writer.paragraph("Nothing fell due at this site in the period, or nothing was planned yet.")
        return
    counts = Counter(asked.order_by().values_list("status", flat=True))
    told = [(WORDS[each].lower(), str(counts[each])) for each in COUNTED if counts[each]]
    writer.facts([(f"Of {plural(sum(counts.values()), 'due time')}", ", ".join(f"{n} {word}" for word, n in told))])
    writer.table(COLUMNS, _rows(tell(asked), scope), empty="Nothing fell due.")
    writer.paragraph(EXPLAINED, small=True)


def _rows(told: Iterator[Told], scope: RecordScope) -> Iterator[Row]:
    for each in told:
        reminder: Reminder = each.reminder
        when, by = _done(each, scope)
        cells = (moment(reminder.due_at, scope.zone), f"{each.title}: {reminder.because}", WORDS[each.status], when, by)
        yield Row(cells, note=_note(each, scope))


def _done(told: Told, scope: RecordScope) -> tuple[str, str]:
    """When it was done and by whom."""
    if told.check:
        return moment(told.check.checked_at, scope.zone), scope.people.initials(told.check.checked_by_id)
    if told.reading:
        return moment(told.reading.taken_at, scope.zone), scope.people.initials(told.reading.taken_by_id)
    return "", ""


def _note(told: Told, scope: RecordScope) -> str:
    if told.excuse is None or told.status != Status.EXCUSED:
        return ""
    who, at = scope.people.initials(told.excuse.recorded_by_id), moment(told.excuse.recorded_at, scope.zone)
    late = "Missed, and e" if told.excuse.recorded_at >= told.reminder.closes_at else "E"
    return f"{late}xcused by {who}, {at}: {sentence(told.excuse.reason)}"
