"""Putting a span in quarantine, assessing a case and counting what is in doubt, on one million readings.

Floors, measured in the same run: the same action on a span of 10 readings; the classification as one bare SQL statement;
the bare join from the spans to the readings, counted by site.
"""

import sys
import uuid
from datetime import UTC, datetime, timedelta

from django.db import connection
from django.test.utils import CaptureQueriesContext

from compliance.checks.models import Span
from compliance.quarantine.assessing import bounds_of, tallies
from compliance.quarantine.cases import doubts
from sites.models import Site
from tests.benchmarks.engines import compare, seconds
from tests.checks.making import bad, good
from tests.world import World, make_limit, make_probe

FIRST = datetime(2024, 1, 1, 6, tzinfo=UTC)
ROUNDS, LARGE, SMALL = 7, 100_000, 10


def fill(probe, site, version, by, count: int, start: datetime, step_s: int) -> None:
    """Readings at even steps, made by the database itself."""
    if connection.vendor == "sqlite":
        at, key = "strftime('%%Y-%%m-%%d %%H:%%M:%%S', %s, '+' || (i * %s) || ' seconds')", "lower(hex(randomblob(16)))"
        begins = start.strftime("%Y-%m-%d %H:%M:%S")
    else:
        at, key, begins = "CAST(%s AS timestamptz) + i * %s * interval '1 second'", "md5(random()::text || i)", start
    sql = f"""INSERT INTO readings_reading (key, probe_id, site_id, limit_version_id, item, typed, unit, value_milli, hold_s,
        taken_at, taken_by_id, note, source_id, recorded_by_id, recorded_at)
        WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < %s)
        SELECT {key}, %s, %s, %s, 'Chiller', '4.0', 'C', 1000 + (i * 37) %% 6000, NULL, {at}, %s, '', NULL, %s, {at} FROM n"""
    values = [count, probe.pk, site.pk, version.pk, begins, step_s, by.pk, by.pk, begins, step_s]
    with connection.cursor() as cursor:
        cursor.execute(sql, values)


def put_in_quarantine(world, version) -> Span:
    """The same failed check over 10 and over 100,000 readings, turn about; gives one large span."""
    timed, written, spans = {SMALL: [], LARGE: []}, {}, {}
    turns = [
        (size, _filled(world, version, f"Q{turn}-{size}", size)) for turn in range(ROUNDS) for size in (SMALL, LARGE)
    ]
    settle()
    at = FIRST + timedelta(days=90)
    for size, probe in turns:
        with CaptureQueriesContext(connection) as queries:
            timed[size].append(seconds(lambda probe=probe: bad(probe, world.cook, at)))
        written[size] = len(queries)
        spans[size] = Span.objects.select_related("probe", "behind", "ahead").get(probe=probe, ends_at=at)
    compare(timed[SMALL], timed[LARGE], "a failed check, 100,000 readings against 10", 1.5, connection.vendor)
    print(
        f"{connection.vendor:11} queries of that action: {written[SMALL]} for 10, {written[LARGE]} for 100,000",
        flush=True,
    )
    return spans[LARGE]


def _filled(world, version, code: str, size: int):
    probe = make_probe(world.site, code, by=world.manager)
    good(probe, world.cook, FIRST)
    fill(probe, world.site, version, world.cook, size, FIRST, 60)
    return probe


def settle() -> None:
    """Let the engine finish what filling left behind, so that it is not measured."""
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE" if connection.vendor == "postgresql" else "ANALYZE")
        cursor.execute("CHECKPOINT" if connection.vendor == "postgresql" else "PRAGMA wal_checkpoint(TRUNCATE)")


BARE = """
SELECT outcome, count(*) FROM (SELECT r.site_id, CASE WHEN r.value_milli - %s <= v.value_milli THEN 'held'
  WHEN r.value_milli - %s > v.value_milli THEN 'broken' ELSE 'undecided' END AS outcome
FROM checks_span s JOIN readings_reading r ON r.probe_id = s.probe_id AND r.taken_at > s.starts_at AND r.taken_at <= s.ends_at
JOIN limits_limitversion v ON v.id = r.limit_version_id WHERE s.id = %s) x GROUP BY site_id, outcome
"""


def assess(world, version, span: Span) -> None:
    """All readings are of one limit, so that the bare statement needs the error at that limit only."""
    (error,) = bounds_of([span])
    low, high = error.at(version.value_milli)

    def bare():
        with connection.cursor() as cursor:
            cursor.execute(BARE, [low, high, span.pk])
            return dict(cursor.fetchall())

    counted = {t.outcome: t.readings for t in tallies([span], (world.site.pk,))}
    assert counted == bare(), "the benchmark compares two different answers"
    floors, ours = [], []
    for _ in range(ROUNDS):
        floors.append(seconds(bare))
        ours.append(seconds(lambda: tallies([span], (world.site.pk,))))
    compare(floors, ours, "a case of 100,000 readings assessed", 1.5, connection.vendor)


JOIN = """
SELECT r.site_id, count(*) FROM checks_span s JOIN readings_reading r
  ON r.probe_id = s.probe_id AND r.taken_at > s.starts_at AND r.taken_at <= s.ends_at
WHERE s.standing = 'quarantined' GROUP BY r.site_id
"""


def count_doubts() -> None:
    sites = list(Site.objects.values_list("pk", flat=True))

    def bare():
        with connection.cursor() as cursor:
            cursor.execute(JOIN)
            return sum(count for _, count in cursor.fetchall())

    assert sum(d.undecided for d in doubts(sites)) == bare(), "the benchmark compares two different answers"
    floors, ours = [seconds(bare) for _ in range(ROUNDS)], [seconds(lambda: doubts(sites)) for _ in range(ROUNDS)]
    compare(floors, ours, "everything in doubt counted by case and site", 1.5, connection.vendor)


def run() -> None:
    total = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    world = World.build()
    version = make_limit(world.site, by=world.manager, code=uuid.uuid4().hex[:8]).versions.get()
    rest = max(total - ROUNDS * (LARGE + SMALL), 0)
    for number in range(50):
        probe = make_probe(world.site, f"R{number}", by=world.manager)
        good(probe, world.cook, FIRST)
        fill(probe, world.site, version, world.cook, max(rest // 50, 1), FIRST, 300)
    span = put_in_quarantine(world, version)
    settle()
    assess(world, version, span)
    count_doubts()
