"""The people named in the record, and room for the signatures of those who prepare and review it."""

from collections.abc import Iterator

from shared.audit.head import KEEP
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import moment

from ..scope import RecordScope

NAMES = [
    Column("Until", points=92),
    Column("Called", share=1),
    Column("Since then", share=1),
    Column("Changed by", share=1),
    Column("Why", share=1.2),
]
EXPLAINED = (
    "Every line of this record gives the name that was borne when the line was written. These names were changed in the "
    "period, or after it and before this record was printed."
)
SIGNED = {
    "Prepared by": "Prepared: this is the whole record of the site and of the period that it names.",
    "Reviewed by": "Reviewed: I have read this record and followed up what is open. Where practicable, the reviewer is not "
    "the person who prepared it.",
}


def write(writer: Writer, scope: RecordScope) -> None:
    writer.heading("People named in this record")
    changes = list(_changes(scope))  # they name people, too
    people = scope.people.key()
    writer.facts(people, columns=2)
    if not people:
        writer.paragraph("Nobody.")
    if changes:
        writer.heading("Changes of name", 2)
        writer.table(NAMES, changes)
        writer.paragraph(EXPLAINED, small=True)
    writer.paragraph(KEEP, small=True)
    with writer.together():
        writer.heading("Signatures under this record")
        for meaning, words in SIGNED.items():
            writer.paragraph(words)
            writer.signature("", None, meaning)


def _changes(scope: RecordScope) -> Iterator[Row]:
    for change in scope.people.changes(scope.start, scope.now):
        by = scope.people.full_of(change) if change.recorded_by_id else "who runs Noughtbook"
        names = f"{change.former_name} ({change.former_initials})", f"{change.name} ({change.initials})"
        yield Row((moment(change.recorded_at, scope.zone), *names, by, change.reason))
