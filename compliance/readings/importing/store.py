"""Putting rows into the record as each engine does it fastest. A reading that is there already, by its key or by what it
says, is passed over."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import connection
from django.db.models import Model

from compliance.readings.models import Deviation, Import, Reading
from shared.audit import trail

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
    "appliance_id",
)
THEIRS = {name: f"i.{name}" for name in (*COLUMNS, "limit_id")}

KEY = "SELECT 1 FROM readings_reading r WHERE r.key = i.key"
KNOWN = """SELECT 1 FROM readings_reading r JOIN limits_limitversion v ON v.id = r.limit_version_id
    WHERE r.probe_id = {probe_id} AND r.taken_at = {taken_at} AND r.site_id = {site_id}
    AND r.value_milli = {value_milli} AND r.item = {item} AND v.limit_id = {limit_id}""".format(**THEIRS)
SAID = f"""{KNOWN} AND r.note = i.note AND (r.taken_by_id = i.taken_by_id OR NOT i.names_taker)
    AND (r.used_despite = i.used_despite OR i.used_despite = '')
    AND (r.appliance_id = i.appliance_id OR i.appliance_id IS NULL)
    AND coalesce(r.hold_s, -1) = coalesce(i.hold_s, -1) AND coalesce(r.since_start_s, -1) = coalesce(i.since_start_s, -1)"""


def none(query: str) -> str:
    """That a query finds nothing, asked row by row: of few rows PostgreSQL would else read the whole table that it looks in."""
    return f"({query} LIMIT 1) IS NULL"


# As known while the file comes in: the span of the probe's timeline in which each was taken.
VOUCHED = """EXISTS (SELECT 1 FROM checks_span s WHERE s.probe_id = i.probe_id AND s.starts_at < i.taken_at
    AND s.ends_at >= i.taken_at AND s.standing IN ('proven', 'pending'))"""
INSERT = f"""INSERT INTO readings_reading ({", ".join(COLUMNS)}, vouched, source_id, recorded_by_id, recorded_at)
    SELECT {", ".join(COLUMNS)}, {VOUCHED}, %s, %s, %s FROM incoming i"""

MADE = (Reading, Deviation)
ESCAPES = str.maketrans({"\\": "\\\\", "\t": "\\t", "\n": "\\n", "\r": "\\r"})


@dataclass(frozen=True, slots=True)
class Stored:
    """What became of a few rows; `otherwise` are the keys of those that the record tells otherwise."""

    added: int = 0
    deviations: int = 0
    otherwise: Sequence[str] = ()


Keep = Callable[[Stored], Import]


class Store:
    """The way of a few rows into the tables, inside their transaction. `source` is the key of the import that is to come."""

    def __init__(self, source: int, by: int, now: datetime):
        self.source, self.by = source, by
        self.now = connection.ops.adapt_datetimefield_value(now)  # text on SQLite
        self.cursor = connection.cursor()

    def put(self, batch: Batch, keep: Keep) -> Import:
        """Store the rows, the deviations of those that are new, and what `keep` makes of their numbers."""
        raise NotImplementedError

    def _ask(self, query: str, *values) -> list[tuple]:
        self.cursor.execute(query, values)
        return self.cursor.fetchall()


class SqliteStore(Store):
    """There is one writer at a time, so what is new is known before it is written. The import goes in first: SQLite looks
    through the whole table for readings that waited for theirs."""

    def put(self, batch, keep):
        self._fill(batch)
        self.cursor.execute(f"UPDATE incoming AS i SET is_new = {none(KEY)} AND {none(KNOWN)}")
        [(added, deviations)] = self._ask("SELECT count(*), coalesce(sum(why <> ''), 0) FROM incoming WHERE is_new")
        otherwise = self._ask(f"SELECT i.key FROM incoming i WHERE NOT i.is_new AND {none(SAID)}")
        made = keep(Stored(added, deviations, [key for (key,) in otherwise]))
        before = [self._newest(model) for model in MADE]
        self.cursor.execute(f"{INSERT} WHERE i.is_new", [self.source, self.by, self.now])
        self.cursor.execute(
            "INSERT INTO readings_deviation (recorded_at, recorded_by_id, reading_id, why) SELECT %s, %s, r.id, i.why "
            "FROM incoming i JOIN readings_reading r ON r.key = i.key WHERE i.is_new AND i.why <> ''",
            [self.now, self.by],
        )
        for model, last in zip(MADE, before, strict=True):
            trail.made(model, list(model.objects.filter(pk__gt=last).values_list("pk", flat=True)))
        return made

    def _newest(self, model: type[Model]) -> int:
        return self._ask(f"SELECT coalesce(max(id), 0) FROM {model._meta.db_table}")[0][0]

    def _fill(self, batch: Batch) -> None:
        columns = (*COLUMNS, "limit_id", "names_taker", "why", "is_new")
        self.cursor.execute(f"CREATE TEMP TABLE IF NOT EXISTS incoming ({', '.join(columns)})")
        self.cursor.execute("DELETE FROM incoming")
        whys, marks = dict(batch.breaches), ", ".join(["?"] * (len(columns) - 1))
        rows = [(*row, whys.get(row[0], "")) for row in batch.rows]
        self.cursor.executemany(f"INSERT INTO incoming VALUES ({marks}, NULL)", rows)


class PostgresStore(Store):
    def put(self, batch, keep):
        self._fill(batch)
        [made] = self._ask(self._insert(), self.source, self.by, self.now, self.now, self.by)
        for model, pks in zip(MADE, made, strict=True):
            trail.made(model, pks)
        added, deviations = map(len, made)
        otherwise = self._otherwise() if added < len(batch.rows) else []
        return keep(Stored(added, deviations, otherwise))

    def _fill(self, batch: Batch) -> None:
        self.cursor.execute(
            "CREATE TEMP TABLE IF NOT EXISTS incoming (key varchar(32), probe_id bigint, site_id bigint, "
            "limit_version_id bigint, item varchar(120), typed varchar(20), unit varchar(1), value_milli int, hold_s int, "
            "since_start_s int, taken_at timestamptz, taken_by_id bigint, note text, used_despite varchar(500), "
            "appliance_id bigint, limit_id bigint, names_taker boolean, why varchar(200))"
        )
        self.cursor.execute("TRUNCATE incoming")
        with self.cursor.copy("COPY incoming FROM STDIN") as copy:
            copy.write(_lines(batch))

    def _otherwise(self) -> list[str]:
        """Asked when they are in, so that it is seen too what came in with somebody else's file meanwhile."""
        mine = none(f"{KEY} AND r.source_id = %s")
        return [key for (key,) in self._ask(f"SELECT i.key FROM incoming i WHERE {mine} AND {none(SAID)}", self.source)]

    def _insert(self) -> str:
        return f"""
            WITH added AS (
                {INSERT} WHERE {none(KNOWN)} ON CONFLICT (key) DO NOTHING RETURNING id, key
            ), opened AS (
                INSERT INTO readings_deviation (recorded_at, recorded_by_id, reading_id, why)
                SELECT %s, %s, added.id, i.why FROM added JOIN incoming i ON i.key = added.key WHERE i.why <> '' RETURNING id
            )
            SELECT coalesce((SELECT array_agg(id) FROM added), '{{}}'), coalesce((SELECT array_agg(id) FROM opened), '{{}}')"""


def store(source: int, by: int, now: datetime) -> Store:
    return (SqliteStore if connection.vendor == "sqlite" else PostgresStore)(source, by, now)


def next_import() -> int:
    """The key of the import that is to come, which its readings name.

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
        appliance,
        limit,
        named,
    ) in batch.rows:
        item = item.translate(ESCAPES) if "\\" in item else item
        note, despite = (text.translate(ESCAPES) if text else text for text in (note, despite))
        held, begun = (r"\N" if seconds is None else seconds for seconds in (hold, since))
        measured = r"\N" if appliance is None else appliance
        lines.append(
            f"{key}\t{probe}\t{site}\t{version}\t{item}\t{typed}\t{unit}\t{milli}\t{held}\t{begun}\t{at}+00\t{by}\t{note}"
            f"\t{despite}\t{measured}\t{limit}\t{named}\t{whys.get(key, '')}\n"
        )
    return "".join(lines).encode()
