"""One printed record from the first page to the last, streamed: memory does not grow with what is printed."""

from typing import BinaryIO

from shared.audit.head import head_line
from shared.printing.flow import Writer
from shared.printing.page import Imprint, Masthead

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
    glossary,
    intervals,
    nothing,
    open_points,
    plan,
    probes,
    readings,
    reasons,
    reminders,
    summary,
    title,
)
from .twin.writing import twin_of

TITLE = "Temperature and probe record"
FOOT = "This record supports the HACCP plan, the local code and the competent authority; it replaces none of them."
SECTIONS = (
    title,
    summary,
    open_points,
    reminders,
    failures,
    deviations,
    cases,
    readings,
    appliances,
    probes,
    events,
    plan,
    days,
    intervals,
    corrections,
    changes,
    reasons,
    nothing,
    closing,
    glossary,
    cautions,
    annex,
)


def write_record(out: BinaryIO, scope: RecordScope) -> None:
    """Write the record of a site and a period as a PDF to a binary file object."""
    masthead = Masthead(business=scope.business.name, site=scope.site.name, title=TITLE, period=scope.period)
    head = head_line(scope.head, scope.zone)
    imprint = Imprint(printed_by=scope.printed_by, printed_at=scope.now, zone=scope.zone, note=FOOT, witness=head)
    with Writer(out, masthead=masthead, imprint=imprint, page_size=scope.paper) as writer:
        for section in SECTIONS:
            section.write(writer, scope)
        with twin_of(scope) as files:
            writer.attach(files, "This record as data")
