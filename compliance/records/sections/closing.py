"""The people named in the record, the cautions, and room for the signatures of those who prepare and review it."""

from shared.cautions import caution
from shared.printing.flow import Writer

from ..scope import RecordScope

SHOWN = ("doubt", "probe_hygiene", "ice_bath", "insertion")
SIGNED = {
    "Prepared by": "Prepared: this is the whole record of the site and of the period that it names.",
    "Reviewed by": "Reviewed: I have read this record and followed up what is open. Where practicable, the reviewer is not "
    "the person who prepared it.",
}


def write(writer: Writer, scope: RecordScope) -> None:
    writer.heading("People named in this record")
    people = scope.people.key()
    writer.facts(people, columns=2)
    if not people:
        writer.paragraph("Nobody.")
    with writer.together():
        writer.heading("Signatures under this record")
        for meaning, words in SIGNED.items():
            writer.paragraph(words)
            writer.signature("", None, meaning)
    writer.heading("Cautions")
    for key in SHOWN:
        shown = caution(key)
        writer.caution(shown.text, shown.title)
    deferral = caution("deferral")
    writer.note(deferral.text, deferral.title)
