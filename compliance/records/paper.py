"""The paper of a record: its head and foot, the same for the whole of it and for a part that is printed singly."""

from typing import BinaryIO

from shared.audit.head import head_line
from shared.printing.flow import Writer
from shared.printing.page import Imprint, Masthead

from .scope import RecordScope

FOOT = "This record supports the HACCP plan, the local code and the competent authority; it replaces none of them."


def paper_of(scope: RecordScope, title: str) -> tuple[Masthead, Imprint]:
    """What stands at the head of the first page, and at the foot of each."""
    masthead = Masthead(
        business=scope.business.name,
        site=scope.site.name,
        title=title,
        period=scope.period,
        times=f"times in {scope.zone_names}",
    )
    head = head_line(scope.head, scope.zone)
    return masthead, Imprint(
        printed_by=scope.printed_by, printed_at=scope.now, zone=scope.zone, note=FOOT, witness=head
    )


def begin(out: BinaryIO, scope: RecordScope, title: str) -> Writer:
    """To be used in a `with` statement."""
    masthead, imprint = paper_of(scope, title)
    return Writer(out, masthead=masthead, imprint=imprint, page_size=scope.paper)
