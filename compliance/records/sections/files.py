"""Which files readings of the period came from: name, digest, what came in and which lines did not, who and when."""

from django.db.models import QuerySet

from compliance.readings.models import Import
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import moment

from ..scope import RecordScope
from ..statements import asked
from ..trail_words import lines_in_words

COLUMNS = [
    Column("Brought in", points=72),
    Column("File and its SHA-256", share=1.6),
    Column("Rows", points=36, align="right"),
    Column("New", points=36, align="right"),
    Column("Known", points=40, align="right"),
    Column("Refused", points=46, align="right"),
    Column("Which lines were refused", share=1),
    Column("By", points=24),
]
MOST_LINES = 50
EXPLAINED = (
    "New: came into the record. Known: was in it already. Refused: is not in the record. A long file comes in pieces, each in "
    "a line of its own. Rows may belong to other sites, too."
)


def write(writer: Writer, scope: RecordScope) -> None:
    rows = [_row(each, scope) for each in files_of(scope)]
    if rows:
        writer.heading("Files of readings that were brought in")
        writer.table(COLUMNS, rows, dense=True)
        writer.paragraph(EXPLAINED, small=True)


@asked
def files_of(scope: RecordScope) -> QuerySet[Import]:
    return Import.objects.filter(pk__in=scope.file_keys).order_by("pk")


def _row(each: Import, scope: RecordScope) -> Row:
    lines = [line for line, _ in each.refused[:MOST_LINES]]
    told = lines_in_words(lines, each.refused_count) if lines else "none"
    numbers = (f"{number:,}" for number in (each.rows, each.added, each.known, each.refused_count))
    cells = moment(each.recorded_at, scope.zone), f"{each.file_name}\n{each.digest}", *numbers, told
    return Row((*cells, scope.people.initials_of(each)))
