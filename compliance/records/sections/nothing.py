"""The lists of the record that have no row, gathered in one place."""

from shared.printing.flow import Writer

from ..scope import RecordScope


def write(writer: Writer, scope: RecordScope) -> None:
    if writer.nothing:
        writer.heading("What no entry was made of")
        writer.paragraph(scope.none(" ".join(writer.nothing)))
