"""One printed record from the first page to the last, streamed: memory does not grow with what is printed."""

from typing import BinaryIO

from .paper import begin
from .scope import RecordScope
from .sections import (
    annex,
    appliances,
    cases,
    cautions,
    changes,
    closing,
    corrections,
    days,
    deviations,
    events,
    failures,
    files,
    glossary,
    intervals,
    nothing,
    open_points,
    plan,
    probes,
    readings,
    reasons,
    reminders,
    reviews,
    summary,
    title,
)
from .twin.writing import twin_of

TITLE = "Temperature and probe record"
OF_A_SITE = (  # what went wrong first, then all that was done
    title,
    summary,
    open_points,
    failures,
    deviations,
    cases,
    reminders,
    corrections,
    reviews,
    appliances,
    readings,
    files,
    probes,
    events,
    plan,
    days,
    intervals,
    changes,
    reasons,
    nothing,
    closing,
    annex,
)
AT_THE_END = (glossary, cautions)  # once a document
SECTIONS = (*OF_A_SITE, *AT_THE_END)


def write_record(out: BinaryIO, scope: RecordScope) -> None:
    """Write the record of a site and a period as a PDF to a binary file object."""
    with begin(out, scope, TITLE) as writer:
        for section in SECTIONS:
            section.write(writer, scope)
        with twin_of(scope) as files:
            writer.attach(files, "This record as data")
