"""Which rows a page visits: its statements, by which plan the database comes to them, and how many rows that is.

PostgreSQL tells each node's rows (EXPLAIN ANALYZE). SQLite tells its plan in words; how much there is to do is the number of
steps of its virtual machine.
"""

import json
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cached_property

from django.db import connection, transaction

# What grows fastest for as long as a business works; and all that grows with it.
LONGEST = {"readings_reading", "checks_check", "plans_reminder"}
HISTORY = LONGEST | {
    "readings_readingvoid",
    "readings_deviation",
    "readings_correctiveaction",
    "checks_checkvoid",
    "checks_timedreading",
    "checks_span",
    "reminders_excuse",
    "quarantine_decision",
    "quarantine_signature",
    "probes_event",
    "audit_entry",
}
READS = re.compile(r"[\s(]*(SELECT|WITH)\b", re.IGNORECASE)
WRITES = re.compile(r"\s*(INSERT|UPDATE|DELETE|REPLACE)\b", re.IGNORECASE)
HOUSEKEEPING = re.compile(r'"(django_session|service_taskrun)"')
AFTER_A_TABLE = "ON|WHERE|INNER|LEFT|JOIN|CROSS|ORDER|GROUP|LIMIT|UNION"
CALLED = re.compile(rf'\b(?:FROM|JOIN)\s+"?(\w+)"?(?:\s+(?:AS\s+)?"?((?!(?:{AFTER_A_TABLE})\b)\w+)"?)?')
STEPS = 20  # of SQLite, which are counted by so many


@dataclass(slots=True)
class Statement:
    sql: str
    params: tuple
    worked: float = 0.0  # seconds of this process

    @property
    def key(self) -> tuple[str, str]:
        return self.sql, repr(self.params)

    @property
    def asks_history(self) -> bool:
        return any(table in self.sql for table in HISTORY)


@dataclass(slots=True)
class Watched:
    """What was asked of the database while somebody watched."""

    statements: list[Statement] = field(default_factory=list)

    @property
    def worked(self) -> float:
        return sum(statement.worked for statement in self.statements)

    def reads(self) -> list[Statement]:
        return [statement for statement in self.statements if READS.match(statement.sql)]

    def writes(self) -> list[str]:
        """What is more than housekeeping."""
        written = [statement.sql for statement in self.statements if WRITES.match(statement.sql)]
        return [sql[:120] for sql in written if not HOUSEKEEPING.search(sql)]

    def __call__(self, execute, sql, params, many, context):
        started = time.process_time()
        statement = Statement(sql, params if many or params is None else tuple(params))
        self.statements.append(statement)
        try:
            return execute(sql, params, many, context)
        finally:
            statement.worked = time.process_time() - started


@contextmanager
def watching() -> Iterator[Watched]:
    watched = Watched()
    with connection.execute_wrapper(watched):
        yield watched


@dataclass(frozen=True)
class PostgresPlan:
    nodes: list[dict]

    def scans(self) -> set[str]:
        """The longest tables that it goes through from end to end."""
        return {node["Relation Name"] for node in self.nodes if node["Node Type"] == "Seq Scan"} & LONGEST

    @cached_property
    def rows(self) -> int:
        """Of all tables, and those that joins look at in vain."""
        return round(sum(map(_rows, self.nodes)))

    @cached_property
    def history(self) -> int:
        """Of what grows with time."""
        return round(sum(_rows(node) for node in self.nodes if node.get("Relation Name") in HISTORY))


def _rows(node: dict) -> float:
    """Those that a node gives and those that it drops, as often as it runs."""
    dropped = sum(value for name, value in node.items() if name.startswith("Rows Removed by"))
    kept = node.get("Actual Rows", 0) if "Relation Name" in node else 0
    return (kept + dropped) * node.get("Actual Loops", 0)


@dataclass(frozen=True)
class SqlitePlan:
    """`rows` are steps of its machine."""

    lines: list[str]
    names: dict[str, str]
    rows: int

    def scans(self) -> set[str]:
        """An index that is walked in its order is judged by the steps: a page of it is soon full."""
        whole = [line for line in self.lines if line.startswith("SCAN") and " USING " not in line]
        found = whole + [line for line in self.lines if "USING AUTOMATIC" in line]
        return {self.names.get(line.split()[1], "") for line in found} & LONGEST

    @property
    def history(self) -> int:
        return self.rows if HISTORY & set(self.names.values()) else 0


def plan_of(statement: Statement) -> PostgresPlan | SqlitePlan:
    """Asks the database, which runs the statement once more."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute(f"EXPLAIN QUERY PLAN {statement.sql}", statement.params)
            lines = [row[3] for row in cursor.fetchall()]
            return SqlitePlan(lines, _names(statement.sql), _steps(cursor, statement))
        cursor.execute(f"EXPLAIN (ANALYZE, TIMING OFF, BUFFERS OFF, FORMAT JSON) {statement.sql}", statement.params)
        found = cursor.fetchone()[0]
    found = json.loads(found) if isinstance(found, str) else found
    return PostgresPlan(list(_nodes(found[0]["Plan"])))


def _steps(cursor, statement: Statement) -> int:
    looks = []
    connection.connection.set_progress_handler(lambda: looks.append(1), STEPS)
    try:
        cursor.execute(statement.sql, statement.params)
        cursor.fetchall()
    finally:
        connection.connection.set_progress_handler(None, 0)
    return len(looks) * STEPS


def _nodes(plan: dict) -> Iterator[dict]:
    yield plan
    for part in plan.get("Plans", ()):
        yield from _nodes(part)


def _names(sql: str) -> dict[str, str]:
    """The tables by what the statement calls them."""
    found = {}
    for table, called in CALLED.findall(sql):
        found |= {table: table, called or table: table}
    return found


# A table of a thousand rows is soon read; of one of a million, what a page shows is looked up.
UNLIKE_LARGE = {
    "cpu_tuple_cost": "0.1",
    "enable_seqscan": "off",
    "enable_hashjoin": "off",
    "enable_mergejoin": "off",
    "jit": "off",
}


@contextmanager
def by_indexes() -> Iterator[None]:
    """PostgreSQL plans as for large tables: it goes through all of one only where no index serves, and to read a row is dear, as
    it chooses by itself beside 5,000 sites."""
    if connection.vendor != "postgresql":
        yield
        return
    with transaction.atomic(), connection.cursor() as cursor:
        for name, value in UNLIKE_LARGE.items():
            cursor.execute(f"SET LOCAL {name} = {value}")
        yield
        for name in UNLIKE_LARGE:
            cursor.execute(f"SET LOCAL {name} TO DEFAULT")
