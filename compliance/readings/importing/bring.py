"""What a file would bring in, and bringing it in: all good rows, and the bad ones named by line."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from hashlib import sha256

from django.utils import timezone

from compliance.readings.models import Import
from shared.audit import trail
from sites.models import Business, Person

from .book import Book
from .layout import FileRefused, open_table
from .rows import Batch, batches
from .store import next_import, store

OTHERWISE = (
    "is in the record already, but with another held_s, since_start_s, note or taken_by; "
    "if the file is right, correct it there"
)
MOST_KEPT = 5_000  # reasons and doubts kept with an import; the counts are always whole
SAMPLE = 8


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
    before: Import | None = None
    line_of: dict[str, int] = field(default_factory=dict)

    def take(self, batch: Batch) -> None:
        self.good += len(batch.rows)
        self.rows += batch.lines
        self.breaches += len(batch.breaches)
        self.bad += batch.bad
        self.doubts += batch.doubts
        self.sample += batch.rows[: SAMPLE - len(self.sample)]
        self.sites.update({row[2] for row in batch.rows})
        self.line_of = batch.line_of

    def refuse(self, keys: list[str]) -> None:
        """Take back rows that the record tells otherwise."""
        self.good -= len(keys)
        self.bad = sorted([*self.bad, *((self.line_of[key], OTHERWISE) for key in keys)])


def preview(file, by: Person, business: Business | None = None) -> Preview:
    """Read a file (bytes, or an open binary file) without writing anything. Raises FileRefused for the file as a whole."""
    content = file if isinstance(file, bytes) else file.read()
    found = Preview()
    for batch in batches(open_table(content), Book(by, business)):
        found.take(batch)
    if not found.rows:
        raise FileRefused("The file has a header and no rows. Add the readings and send it again.")
    found.before = Import.objects.filter(digest=sha256(content).hexdigest(), recorded_by=by).order_by("-pk").first()
    return found


@trail.action("reading.import")
def import_file(
    *,
    by: Person,
    file_name: str,
    content: bytes,
    business: Business | None = None,
    progress: Callable[[int], object] = lambda lines: None,
) -> Import:
    """Bring in all good rows of a file, open the deviations of those beyond their limit, and keep why others were refused.

    A reading that is in the record already is passed over, so the same file twice adds nothing; one that is there with
    something else beside it is refused. Raises FileRefused, and writes nothing, where the file as a whole cannot be read.
    """
    now, found, source = timezone.now(), Preview(), next_import()
    table, book = open_table(content), Book(by, business)
    added, deviations, otherwise = store(source, by.pk, now).put(_counted(batches(table, book), found, progress))
    found.refuse(otherwise)
    if not found.rows:
        raise FileRefused("The file has a header and no rows. Add the readings and send it again.")
    made = Import.objects.create(
        pk=source,
        recorded_by=by,
        recorded_at=now,
        file_name=file_name[-200:],
        digest=sha256(content).hexdigest(),
        site_id=next(iter(found.sites)) if len(found.sites) == 1 else None,
        sites=sorted(found.sites),
        rows=found.rows,
        added=added,
        known=found.good - added,
        breaches=deviations,
        refused=[list(told) for told in found.bad[:MOST_KEPT]],
        doubts=[list(told) for told in found.doubts[:MOST_KEPT]],
    )
    trail.note(
        "reading.import",
        by=by,
        subject=made,
        site_id=made.site_id,
        rows=made.rows,
        added=added,
        known=made.known,
        refused=len(found.bad),
        deviations=deviations,
        digest=made.digest,
        sites=made.sites,
    )
    return made


def _counted(found_batches: Iterator[Batch], found: Preview, progress: Callable[[int], object]) -> Iterator[Batch]:
    for batch in found_batches:
        found.take(batch)
        progress(batch.lines)
        yield batch
