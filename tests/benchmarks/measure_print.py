"""Measures printing on the database of this process: time against a bare canvas, how it grows, and memory."""

import subprocess
import sys
import tempfile
import uuid
from datetime import UTC, date, datetime, timedelta

from django.db import connection
from django.utils import timezone
from reportlab.lib.pagesizes import A4
from reportlab.pdfgen.canvas import Canvas

from compliance.readings.models import Reading
from compliance.records.record import write_record
from compliance.records.scope import RecordScope
from compliance.records.sections import readings
from shared.printing.fonts import REGULAR
from tests.benchmarks.engines import compare, seconds
from tests.checks.making import good
from tests.world import World, make_limit, make_probe, make_site

START, DAYS, PROBES, ROUNDS = datetime(2025, 1, 1, tzinfo=UTC), 365, 5, 3
FOODS = ("Soup of the day", "Rice", "Walk-in chiller", "Dairy fridge", "Chest freezer", "Roast turkey", "Gravy")
ROWS, LEADING, EDGE = 46, 16, 48


def fill(world, name: str, count: int):
    """A site with so many readings evenly through the year, by five probes that are checked each week."""
    site = make_site(world.area, name)
    limit = make_limit(site, by=world.manager)
    version = limit.versions.get()
    probes = [make_probe(site, f"{name}-{n}", by=world.manager) for n in range(PROBES)]
    for probe in probes:
        for week in range(0, DAYS + 7, 7):
            good(probe, world.cook, START + timedelta(days=week))
    step = timedelta(days=DAYS) / count
    made = (_reading(n, site, version, probes[n % PROBES], world.cook, START + (n + 0.5) * step) for n in range(count))
    Reading.objects.bulk_create(made, batch_size=2000)
    return site


def _reading(n: int, site, version, probe, by, at) -> Reading:
    milli = 1000 + (n * 37) % 4000
    return Reading(
        key=uuid.uuid4().hex,
        probe=probe,
        site=site,
        limit_version=version,
        item=FOODS[n % len(FOODS)],
        typed=f"{milli / 1000:.1f}",
        unit="C",
        value_milli=milli,
        taken_at=at,
        taken_by=by,
        recorded_by=by,
        recorded_at=at,
    )


def scope_of(site) -> RecordScope:
    last = date(2025, 1, 1) + timedelta(days=DAYS - 1)
    return RecordScope(site=site, first=date(2025, 1, 1), last=last, printed_by="Bench", now=timezone.now())


def print_record(site) -> float:
    with tempfile.TemporaryFile() as out:
        return seconds(lambda: write_record(out, scope_of(site)))


def strings_of(site) -> list[tuple[str, ...]]:
    """The cells of every reading's row, as the record sets them."""
    scope = scope_of(site)
    told = readings.ReadingRows(scope)
    lines = map(readings.Line._make, scope.judged().values_list(*readings.FIELDS.values()).iterator())
    return [tuple(map(str, row.cells)) for row in told.rows(lines)]


def draw_bare(rows: list[tuple[str, ...]]) -> float:
    """The floor: each string shown once where its column begins."""
    width = (A4[0] - 2 * EDGE) / 8

    def draw():
        with tempfile.TemporaryFile() as out:
            canvas = Canvas(out, pagesize=A4, pageCompression=1)
            for first in range(0, len(rows), ROWS):
                text = canvas.beginText()
                text.setFont(REGULAR, 8)
                for line, cells in enumerate(rows[first : first + ROWS]):
                    for column, cell in enumerate(cells):
                        text.setTextOrigin(EDGE + column * width, A4[1] - EDGE - line * LEADING)
                        text.textOut(cell)
                canvas.drawText(text)
                canvas.showPage()
            canvas.save()

    return seconds(draw)


def peak_mb(site) -> int:
    """Memory at its peak in a process that does nothing but print; filling the database took far more here, and Linux counts
    what a process had before it became another program: hence a shell between."""
    scope = scope_of(site)
    about = [str(site.pk), scope.first.isoformat(), scope.last.isoformat()]
    own = [sys.executable, "-m", "tests.benchmarks.engines", "tests.benchmarks.peak_print", *about]
    command = ["sh", "-c", '"$@"; exit $?', "sh", *own]
    return int(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def run() -> None:
    large = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    small = max(large // 10, 1)
    world, engine = World.build(), connection.vendor
    sites = {count: fill(world, f"S{count}", count) for count in (small, large)}
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    print_record(sites[small])  # the first one loads fonts and code
    ours = {count: [print_record(site) for _ in range(ROUNDS)] for count, site in sites.items()}
    peaks = {count: peak_mb(site) for count, site in sites.items()}
    rows = strings_of(sites[small])
    compare(
        [draw_bare(rows) for _ in range(ROUNDS)], ours[small], f"{small:,} readings against a bare canvas", 4, engine
    )
    ten_times = [10 * taken for taken in ours[small]]
    compare(ten_times, ours[large], f"{large:,} readings against ten times {small:,}", 1.2, engine)
    ratio = peaks[large] / peaks[small]
    verdict = "met" if ratio <= 1.5 else "NOT met"
    told = f"{peaks[small]} MB for {small:,} readings, {peaks[large]} MB for {large:,}: {ratio:.2f} (goal ≤ 1.5: {verdict})"
    print(f"{engine:11} peak memory of a process that prints: {told}", flush=True)


if __name__ == "__main__":
    sys.exit("Start it by: python -m tests.benchmarks.bench_print")
