"""The HACCP page of a site and a period: what an inspector asks for before the readings."""

from typing import BinaryIO

from .paper import begin
from .scope import RecordScope
from .sections import haccp, haccp_site, nothing, title

TITLE = "HACCP page"


def write_haccp(out: BinaryIO, scope: RecordScope) -> None:
    """Write it as a PDF to a binary file object."""
    with begin(out, scope, TITLE) as writer:
        for section in (title, haccp, haccp_site, nothing):
            section.write(writer, scope)
