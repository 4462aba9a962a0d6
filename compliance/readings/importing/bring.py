"""What a file would bring in, and bringing it in: all good rows, and the bad ones named by line."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from hashlib import sha256

from django.utils import timezone

from compliance.readings.imported_file import ImportedFile
from compliance.readings.models import Import
from shared.audit import trail
from sites.models import Person

from .book import Book
from .layout import open_table, read_through
from .rows import SITE, Batch, batches
from .store import Stored, next_import, store

OTHERWISE = (
    "is in the record already, but with another held_s, since_start_s, note, taken_by or "
    "appliance; "
    "if the file is right, correct it there"
)
MOST_KEPT = 5_000  # reasons and doubts kept with a file; the counts are always whole
SAMPLE = 8
LINES_TOLD = 50  # of those refused, in the trail


@dataclass(slots=True)
class Preview:
    """What a file would bring in. Nothing is written to make it."""

    good: int = 0
    rows: int = 0
    breaches: int = 0
    bad: list[tuple[int, str]] = field(default_factory=list)
    doubts: list[tuple[int, str]] = field(default_factory=list)
    sample: list[tuple] = field(default_factory=list)
    sites: set[int] = field(default_factory=set)
    before: ImportedFile | None = None

    def take(self, batch: Batch) -> None:
        self.good += len(batch.rows)
        self.rows += batch.lines
        self.breaches += len(batch.breaches)
        self.bad += batch.bad
        self.doubts += batch.doubts
        self.sample += batch.rows[: SAMPLE - len(self.sample)]
        self.sites.update({row[SITE] for row in batch.rows})


def preview(file, by: Person) -> Preview:
    """Read a file (bytes, or an open binary file) without writing anything. Raises FileRefused for the file as a whole."""
    content = file if isinstance(file, bytes) else file.read()
    mentioned = read_through(content)
    found = Preview(before=last_import_of(by, content))
    for batch in batches(open_table(content), Book(by, mentioned)):
        found.take(batch)
    return found


def last_import_of(by: Person, content: bytes) -> ImportedFile | None:
    """What came in when this person brought in this very file last."""
    found = Import.objects.filter(digest=sha256(content).hexdigest(), recorded_by=by).order_by("-pk").first()
    return found and ImportedFile.of(found)


def import_file(*, by: Person, file_name: str, content: bytes) -> ImportedFile:
    """Bring in all good rows of a file, open the deviations of those beyond their limit, and keep why others were refused.

    A reading that is in the record already is passed over, so the same file twice adds nothing; one that is there with
    something else beside it is refused. Raises FileRefused, and writes nothing, where the file as a whole cannot be read.
    """
    return ImportedFile(list(import_parts(by=by, file_name=file_name, content=content)))


def import_parts(
    *, by: Person, file_name: str, content: bytes, begin: Callable[[Import], None] = lambda first: None
) -> Iterator[Import]:
    """As `import_file`, piece by piece as they are written. Each is worked out before its transaction, so that others write
    between them; wherever it stops, the same file again adds the rest. `begin` is called in the transaction of the first.
    """
    mentioned = read_through(content)
    file = SentFile(file_name[-200:], sha256(content).hexdigest(), begin)
    for batch in batches(open_table(content), Book(by, mentioned)):
        part = import_part(by=by, file=file, batch=batch)
        file.wrote(part)
        yield part


@dataclass(slots=True)
class SentFile:
    """A file on its way in: what its pieces have in common, and the first of them."""

    name: str
    digest: str
    begin: Callable[[Import], None]
    first: Import | None = None
    reasons_left: int = MOST_KEPT  # kept with the pieces that are still to come
    doubts_left: int = MOST_KEPT

    def wrote(self, part: Import) -> None:
        self.first = self.first or part
        self.reasons_left -= len(part.refused)
        self.doubts_left -= len(part.doubts)


@trail.action("reading.import")
def import_part(*, by: Person, file: SentFile, batch: Batch) -> Import:
    """Bring in the good rows of a piece, and keep what became of it; together, or not at all."""
    now, source = timezone.now(), next_import()
    sites = sorted({row[SITE] for row in batch.rows})

    def keep(stored: Stored) -> Import:
        bad = sorted([*batch.bad, *((batch.line_of[key], OTHERWISE) for key in stored.otherwise)])
        return Import.objects.create(
            pk=source,
            recorded_by=by,
            recorded_at=now,
            part_of=file.first,
            rest_after=batch.rest_after,
            file_name=file.name,
            digest=file.digest,
            site_id=sites[0] if len(sites) == 1 else None,
            sites=sites,
            rows=batch.lines,
            added=stored.added,
            known=len(batch.rows) - len(stored.otherwise) - stored.added,
            breaches=stored.deviations,
            refused=[list(told) for told in bad[: file.reasons_left]],
            doubts=[list(told) for told in batch.doubts[: file.doubts_left]],
        )

    made = store(source, by.pk, now).put(batch, keep)
    if not file.first:
        file.begin(made)
    trail.note(
        "reading.import",
        by=by,
        subject=made,
        site_id=made.site_id,
        rows=made.rows,
        added=made.added,
        known=made.known,
        refused=made.refused_count,
        refused_lines=[line for line, _ in made.refused[:LINES_TOLD]],
        deviations=made.breaches,
        digest=made.digest,
        sites=made.sites,
        part_of=made.part_of_id,
        rest_after=made.rest_after,
    )
    return made
