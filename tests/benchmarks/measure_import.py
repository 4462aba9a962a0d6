"""Bringing in a file of 100,000 readings (read, checked, stored, deviations opened, told in the trail) against the bare
insertion of the same rows into the same table: `executemany` on SQLite, COPY on PostgreSQL. And how long a piece holds others up.
"""

import sys
from datetime import UTC, datetime, timedelta
from statistics import median

from django.db import connection, transaction

from compliance.readings.importing import bring, import_file
from compliance.readings.importing.book import Book
from compliance.readings.importing.layout import open_table, read_through
from compliance.readings.importing.rows import batches
from compliance.readings.importing.store import COLUMNS
from tests.benchmarks.engines import compare, seconds
from tests.world import World, make_limit, make_probe

ROUNDS, PIECE_GOAL = 3, 0.2  # seconds
ITEMS = ("milk", "cooked rice", "chicken, roast", "walk-in fridge", "soup", "fish pie", "salad", "custard")


def file_of(rows: int, first: datetime) -> bytes:
    """Two in a hundred beyond their limit; a reading a minute, by twenty probes in turn."""
    lines = ["site,probe,limit,item,value,unit,taken_at,held_s,note"]
    for i in range(rows):
        value = 52 if i % 50 == 0 else i * 37 % 45
        at = first + timedelta(minutes=i // 4)
        shelf = "top shelf" if i % 9 == 0 else ""
        told = f'"{ITEMS[i % 8]}",{value / 10},C,{at:%Y-%m-%dT%H:%M}'
        lines.append(f"Alder School,B{i % 20},cold-{i % 6},{told},,{shelf}")
    return "\n".join(lines).encode()


def bare_rows(by, content: bytes) -> list[tuple]:
    found = [
        row[: len(COLUMNS)]
        for batch in batches(open_table(content), Book(by, read_through(content)))
        for row in batch.rows
    ]
    return found


def floor_sqlite(by, rows: list[tuple]) -> None:
    places = ", ".join(["%s"] * len(COLUMNS))
    sql = (
        f"INSERT INTO readings_reading ({', '.join(COLUMNS)}, recorded_by_id, recorded_at) "
        f"VALUES ({places}, {by.pk}, '2026-01-01 00:00:00')"
    )
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.executemany(sql, rows)


def floor_postgres(by, lines: bytes) -> None:
    sql = f"COPY readings_reading ({', '.join(COLUMNS)}, recorded_by_id, recorded_at) FROM STDIN"
    with transaction.atomic(), connection.cursor() as cursor, cursor.copy(sql) as copy:
        copy.write(lines)


def copy_lines(by, rows: list[tuple]) -> bytes:
    told = ("\t".join(r"\N" if cell is None else str(cell) for cell in row) for row in rows)
    return "".join(f"{line}\t{by.pk}\t2026-01-01 00:00:00+00\n" for line in told).encode()


def run() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    world = World.build()
    by, site = world.manager, world.site
    for i in range(6):
        make_limit(site, by=by, code=f"cold-{i}")
    for i in range(20):
        make_probe(site, f"B{i}", by=by, starts_at=datetime(2000, 1, 1, tzinfo=UTC))
    floors, ours, pieces = [], [], []
    ordinary = bring.import_part

    def timed(**given):
        made = []
        pieces.append(seconds(lambda: made.append(ordinary(**given))))
        return made[0]

    bring.import_part = timed
    for turn in range(ROUNDS):
        first = datetime(2020 + 2 * turn, 1, 2)
        rows = bare_rows(by, file_of(count, first + timedelta(days=365)))
        if connection.vendor == "sqlite":
            floors.append(seconds(lambda rows=rows: floor_sqlite(by, rows)))
        else:
            lines = copy_lines(by, rows)
            floors.append(seconds(lambda lines=lines: floor_postgres(by, lines)))
        content = file_of(count, first)
        ours.append(seconds(lambda content=content: import_file(by=by, file_name="bench.csv", content=content)))
    goal = 3.0 if connection.vendor == "sqlite" else 2.5
    compare(floors, ours, f"{count:,} readings brought in", goal, connection.vendor)
    verdict = "met" if max(pieces) <= PIECE_GOAL else "NOT met"
    print(
        f"{connection.vendor:11} {len(pieces)} pieces: median {median(pieces):.3f} s, the slowest {max(pieces):.3f} s "
        f"(goal ≤ {PIECE_GOAL}: {verdict})",
        flush=True,
    )
    again = seconds(lambda: import_file(by=by, file_name="bench.csv", content=content))
    print(f"{connection.vendor:11} the same file again, nothing added: {again:.2f} s", flush=True)
