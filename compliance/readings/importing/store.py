"""Putting rows into the record as each engine does it fastest. A reading that is there already, by its key or by what it
says, is passed over."""

from collections.abc import Iterator
from datetime import datetime

from django.db import connection

from .rows import Batch

COLUMNS = (
    "key",
    "probe_id",
    "site_id",
    "limit_version_id",
    "item",
    "typed",
    "unit",
    "value_milli",
    "hold_s",
    "since_start_s",
    "taken_at",
    "taken_by_id",
    "note",
    "used_despite",
)
PROBE, TAKEN_AT = COLUMNS.index("probe_id"), COLUMNS.index("taken_at")
THEIRS = {name: f"i.{name}" for name in (*COLUMNS, "limit_id")}

KNOWN = """SELECT 1 FROM readings_reading r JOIN limits_limitversion v ON v.id = r.limit_version_id
    WHERE r.probe_id = {probe_id} AND r.taken_at = {taken_at} AND r.site_id = {site_id}
    AND r.value_milli = {value_milli} AND r.item = {item} AND v.limit_id = {limit_id}"""

# Rows that did not go in, and that no reading in the record says in full.
OTHERWISE = """SELECT i.key FROM incoming i
    WHERE NOT EXISTS (SELECT 1 FROM readings_reading r WHERE r.key = i.key AND r.source_id = %s)
    AND NOT EXISTS ({known} AND r.note = i.note AND (r.taken_by_id = i.taken_by_id OR NOT i.names_taker)
    AND (r.used_despite = i.used_despite OR i.used_despite = '')
    AND coalesce(r.hold_s, -1) = coalesce(i.hold_s, -1) AND coalesce(r.since_start_s, -1) = coalesce(i.since_start_s, -1))"""

# As known while the file comes in: the span of the probe's timeline in which each was taken.
VOUCHED = """EXISTS (SELECT 1 FROM checks_span s WHERE s.probe_id = i.probe_id AND s.starts_at < i.taken_at
    AND s.ends_at >= i.taken_at AND s.standing IN ('proven', 'pending'))"""

ESCAPES = str.maketrans({"\\": "\\\\", "\t": "\\t", "\n": "\\n", "\r": "\\r"})


class Store:
    """One import's way into the tables; inside its transaction. `source` is the key of the import that is to come."""

    def __init__(self, source: int, by: int, now: datetime):
        self.source, self.by = source, by
        self.now = connection.ops.adapt_datetimefield_value(now)  # text on SQLite
        self.cursor = connection.cursor()

    def put(self, batches: Iterator[Batch]) -> tuple[int, int, list[str]]:
        """Store every batch and the deviations of those that are new; gives how many are new, how many deviations, and the
        keys of those that the record tells otherwise."""
        raise NotImplementedError

    def _otherwise(self) -> list[str]:
        """Asked when all is in, so that it is seen too what came in with somebody else's file meanwhile."""
        self.cursor.execute(OTHERWISE.format(known=KNOWN.format(**THEIRS)), [self.source])
        return [key for (key,) in self.cursor.fetchall()]


class SqliteStore(Store):
    def put(self, batches):
        self.cursor.execute("CREATE TEMP TABLE incoming_breach (key text PRIMARY KEY, why text) WITHOUT ROWID")
        self.cursor.execute(f"CREATE TEMP TABLE incoming ({', '.join(COLUMNS)}, limit_id, names_taker)")
        self.cursor.execute("SELECT coalesce(max(id), 0) FROM readings_reading")
        last_before, added, otherwise = self.cursor.fetchone()[0], 0, []
        for batch in batches:
            if batch.rows:
                new = self._insert(batch, last_before)
                added, otherwise = added + new, otherwise + (self._otherwise() if new < len(batch.rows) else [])
                self.cursor.execute("DELETE FROM incoming")
            if batch.breaches:
                self.cursor.executemany("INSERT INTO incoming_breach VALUES (%s, %s)", batch.breaches)
        self.cursor.execute(
            "INSERT INTO readings_deviation (recorded_at, recorded_by_id, reading_id, why) "
            "SELECT %s, %s, r.id, b.why FROM incoming_breach b JOIN readings_reading r ON r.key = b.key WHERE r.source_id = %s",
            [self.now, self.by, self.source],
        )
        deviations = self.cursor.rowcount
        for table in ("incoming", "incoming_breach"):
            self.cursor.execute(f"DROP TABLE {table}")
        return added, deviations, otherwise

    def _insert(self, batch: Batch, last_before: int) -> int:
        """One statement a batch: what guards the table costs as much for each statement as for each row.

        SQLite sets every row of an INSERT … SELECT aside that reads the table it writes to; most files need not pay it.
        """
        self.cursor.executemany(f"INSERT INTO incoming VALUES ({', '.join(['?'] * len(batch.rows[0]))})", batch.rows)
        known = f"NOT EXISTS ({KNOWN.format(**THEIRS)})" if self._may_be_known(batch, last_before) else "true"
        self.cursor.execute(
            f"INSERT INTO readings_reading ({', '.join(COLUMNS)}, vouched, source_id, recorded_by_id, recorded_at) "
            f"SELECT {', '.join(COLUMNS)}, {VOUCHED}, %s, %s, %s FROM incoming i WHERE {known} ON CONFLICT (key) DO NOTHING",
            [self.source, self.by, self.now],
        )
        return self.cursor.rowcount

    def _may_be_known(self, batch: Batch, last_before: int) -> bool:
        """Whether these probes have older readings in the time that the batch covers."""
        probes = {row[PROBE] for row in batch.rows}
        times = [row[TAKEN_AT] for row in batch.rows]
        self.cursor.execute(
            f"SELECT 1 FROM readings_reading WHERE probe_id IN ({', '.join(map(str, probes))}) "
            "AND taken_at >= %s AND taken_at <= %s AND id <= %s LIMIT 1",
            [min(times), max(times), last_before],
        )
        return self.cursor.fetchone() is not None


class PostgresStore(Store):
    def put(self, batches):
        self.cursor.execute(
            "CREATE TEMP TABLE incoming (key varchar(32), probe_id bigint, site_id bigint, limit_version_id bigint, "
            "item varchar(120), typed varchar(20), unit varchar(1), value_milli int, hold_s int, since_start_s int, "
            "taken_at timestamptz, taken_by_id bigint, note text, used_despite varchar(500), limit_id bigint, "
            "names_taker boolean, why varchar(200))"
        )
        with self.cursor.copy("COPY incoming FROM STDIN") as copy:
            for batch in batches:
                copy.write(_lines(batch))
        self.cursor.execute("ANALYZE incoming")
        self.cursor.execute(self._insert(), [self.source, self.by, self.now, self.now, self.by])
        added, deviations = self.cursor.fetchone()
        self.cursor.execute("SELECT count(*) FROM incoming")
        otherwise = self._otherwise() if added < self.cursor.fetchone()[0] else []
        self.cursor.execute("DROP TABLE incoming")
        return added, deviations, otherwise

    def _insert(self) -> str:
        return f"""
            WITH added AS (
                INSERT INTO readings_reading ({", ".join(COLUMNS)}, vouched, source_id, recorded_by_id, recorded_at)
                SELECT {", ".join(COLUMNS)}, {VOUCHED}, %s, %s, %s FROM incoming i
                WHERE NOT EXISTS ({KNOWN.format(**THEIRS)}) ON CONFLICT (key) DO NOTHING RETURNING id, key
            ), opened AS (
                INSERT INTO readings_deviation (recorded_at, recorded_by_id, reading_id, why)
                SELECT %s, %s, added.id, i.why FROM added JOIN incoming i ON i.key = added.key WHERE i.why <> '' RETURNING id
            )
            SELECT (SELECT count(*) FROM added), (SELECT count(*) FROM opened)"""


def store(source: int, by: int, now: datetime) -> Store:
    return (SqliteStore if connection.vendor == "sqlite" else PostgresStore)(source, by, now)


def next_import() -> int:
    """The key of the import that is to come. Its readings go in before it does: it tells how many they were, once.

    Foreign keys are checked at the end of the transaction on both engines; on SQLite there is one writer at a time.
    """
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT coalesce(max(id), 0) + 1 FROM readings_import")
        else:
            cursor.execute("SELECT nextval(pg_get_serial_sequence('readings_import', 'id'))")
        return cursor.fetchone()[0]


def _lines(batch: Batch) -> bytes:
    whys = dict(batch.breaches)
    lines = []
    for (
        key,
        probe,
        site,
        version,
        item,
        typed,
        unit,
        milli,
        hold,
        since,
        at,
        by,
        note,
        despite,
        limit,
        named,
    ) in batch.rows:
        item = item.translate(ESCAPES) if "\\" in item else item
        note, despite = (text.translate(ESCAPES) if text else text for text in (note, despite))
        held, begun = (r"\N" if seconds is None else seconds for seconds in (hold, since))
        lines.append(
            f"{key}\t{probe}\t{site}\t{version}\t{item}\t{typed}\t{unit}\t{milli}\t{held}\t{begun}\t{at}+00\t{by}\t{note}"
            f"\t{despite}\t{limit}\t{named}\t{whys.get(key, '')}\n"
        )
    return "".join(lines).encode()
