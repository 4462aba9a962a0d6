"""Readings taken out as a file (times on the clock of the site, names as they are and as they were, texts that no spreadsheet
takes for a formula) against a join of the same columns that the engine has written: by COPY on PostgreSQL, and on SQLite by
csv.writer straight from the driver. Processor time of this process and of the server's, and the memory that it takes.
"""

import csv
import sys
import tracemalloc
from datetime import datetime
from statistics import median

from django.db import connection

from compliance.checks.span_times import holds_sql
from compliance.readings.exporting import csv_lines
from compliance.readings.importing import import_file
from compliance.readings.models import Reading
from tests.benchmarks.engines import know_sizes, processor_seconds
from tests.benchmarks.measure_import import file_of
from tests.world import World, make_limit, make_probe

ROUNDS, GOAL = 3, 3
SAME = f"""SELECT s.name, p.code, l.code, r.item, r.typed, r.unit, r.taken_at, r.hold_s, r.since_start_s, r.note, t.email,
 r.used_despite, r.fitness, t.name, s.name, p.code, r.id, v.direction, v.value, x.id,
 coalesce((SELECT b.standing FROM checks_span b WHERE b.probe_id = r.probe_id AND {holds_sql("b", "r.taken_at")}), 'unproven'),
 (SELECT q.fate FROM quarantine_decision q WHERE q.reading_id = r.id
 AND NOT EXISTS (SELECT 1 FROM quarantine_decision n WHERE n.replaces_id = q.id))
 FROM readings_reading r LEFT JOIN readings_deviation x ON x.reading_id = r.id JOIN sites_site s ON s.id = r.site_id
 JOIN probes_probe p ON p.id = r.probe_id JOIN limits_limitversion v ON v.id = r.limit_version_id
 JOIN limits_limit l ON l.id = v.limit_id JOIN sites_person t ON t.id = r.taken_by_id
 WHERE NOT EXISTS (SELECT 1 FROM readings_readingvoid d WHERE d.voids_id = r.id) ORDER BY r.taken_at, r.id"""


class Nowhere:
    def write(self, text: str) -> int:
        return len(text)


def floor() -> None:
    if connection.vendor == "sqlite":
        csv.writer(Nowhere()).writerows(connection.connection.cursor().execute(SAME))
        return
    with connection.connection.cursor() as cursor, cursor.copy(f"COPY ({SAME}) TO STDOUT (FORMAT csv)") as copy:
        for _ in copy:
            pass


def run() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 50_000
    world = World.build()
    for number in range(20):
        make_probe(world.site, f"B{number}", by=world.manager, limits=[world.limit])
    for number in range(6):
        make_limit(world.site, by=world.manager, code=f"cold-{number}")
    import_file(by=world.manager, file_name="bench.csv", content=file_of(count, datetime(2024, 1, 1)))
    know_sizes()

    def ours(most: int = count) -> None:
        for text in csv_lines(Reading.objects.filter(pk__lte=most), [world.site]):
            text.encode()

    floors, taken = zip(*((processor_seconds(floor), processor_seconds(ours)) for _ in range(ROUNDS)), strict=True)
    bare, own = median(floors), median(taken)
    verdict = "met" if own <= GOAL * bare else "NOT met"
    each = f"{1e6 * bare / count:.1f} µs a reading by the engine, {1e6 * own / count:.1f} µs ours"
    print(f"{connection.vendor:11} {count:,} readings: {each}, ratio {own / bare:.2f} (goal ≤ {GOAL}: {verdict})")
    few, all_ = (peak_kb(lambda most=most: ours(most)) for most in (count // 5, count))
    print(f"{connection.vendor:11} memory at most: {few:.0f} kB for a fifth of them, {all_:.0f} kB for all", flush=True)


def peak_kb(act) -> float:
    tracemalloc.start()
    act()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 1024
