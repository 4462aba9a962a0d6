"""What fell due in the period, against what was done: missed stays missed, and excuses are printed with their reason."""

from collections import Counter
from collections.abc import Iterator
from datetime import date, timedelta

from compliance.reminders.models import Reminder
from compliance.reminders.queries import Told
from compliance.reminders.status import Status
from shared.plurals import plural
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import moment, weekday_day

from ..formatting import sentence
from ..planned_counts import (
    BECAME,
    DONE,
    LATE,
    MISSED,
    PlannedCount,
    count_planned,
    exceptions,
    in_words,
)
from ..scope import RecordScope

COLUMNS = [
    Column("Due", points=66),
    Column("What was asked for", share=2),
    Column("What became of it", points=76),
    Column("When", points=66),
    Column("By", points=24),
]
ABREAST = 6  # rounds side by side in a grid
WORDS = {**BECAME, Status.CLEARED: DONE, Status.MISSED: "MISSED"}
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
    planned = count_planned(scope)
    if not planned.counts:
        writer.paragraph(scope.none("Nothing fell due at this site in the period, or nothing was planned yet."))
        return
    writer.facts(_counted(scope))
    writer.listing(COLUMNS, _rows(exceptions(scope), scope), caption="Not done, or not in time")
    _write_grid(writer, planned)


def _counted(scope: RecordScope) -> Iterator[tuple[str, str]]:
    planned = count_planned(scope)
    for noun, checks in (("check", True), ("reading", False)):
        became = planned.became(checks=checks)
        if became:
            yield f"Of {plural(became.total(), noun)}", in_words(became)
    if planned.doubted:
        yield "Of those not done", f"{planned.doubted:,} taken, with a probe that was not to be relied on"


def _write_grid(writer: Writer, planned: PlannedCount) -> None:
    """Day by day and round by round: how many of those planned were done, and what became of the others."""
    columns = planned.columns
    for start in range(0, len(columns), ABREAST):
        some = columns[start : start + ABREAST]
        heads = [Column("Day", points=98), *(Column(title) for _, title in some)]
        rows = grid_days([(on, [planned.on(on, what) for what, _ in some]) for on in planned.days])
        writer.table(heads, rows, caption="Day by day: done of planned", dense=True)


def grid_days(days: list[tuple[date, list[Counter]]]) -> Iterator[Row]:
    """A row for each day; days in a row on which the same was planned and all of it done in time stand together."""
    while days:
        first, cells = days[0]
        alike = 1
        if all(set(cell) <= {DONE} for cell in cells):
            while days[alike:] and days[alike] == (first + timedelta(days=alike), cells):
                alike += 1
        last = days[alike - 1][0]
        span = weekday_day(first) if alike == 1 else f"{weekday_day(first)} to {weekday_day(last)}"
        missed = any(cell[word] for cell in cells for word in MISSED)
        yield Row((span, *(_cell(cell, each=alike > 1) for cell in cells)), strong=missed)
        days = days[alike:]


def _cell(became: Counter, *, each: bool) -> str:
    """Such as “8 of 8”, “8 of 8 a day” and “6 of 8: 1 done late, 2 missed”; a blank where nothing was planned."""
    if not became:
        return " "
    told = f"{became[DONE] + became[LATE]} of {became.total()}" + " a day" * each
    rest = in_words(became - Counter({DONE: became[DONE]}))
    return f"{told}: {rest}" if rest else told


def _rows(told: Iterator[Told], scope: RecordScope) -> Iterator[Row]:
    for each in told:
        reminder: Reminder = each.reminder
        when, by = _done(each, scope)
        cells = (moment(reminder.due_at, scope.zone), f"{each.title}: {reminder.because}", what_became(each), when, by)
        yield Row(cells, note=_note(each, scope))


def what_became(told: Told) -> str:
    if told.excused_late:
        return "MISSED, excused"
    return LATE if told.done_late else "not owed" if told.not_owed else WORDS[told.status]


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
        found = moment(told.reminder.cancelled_at, scope.zone)
        because = sentence(told.reminder.cancelled_because)
        return f"Not done in time; later found not to be owed, because {because} Entered late, {found}."
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
