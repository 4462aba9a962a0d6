"""A state of the database that many tests begin with: built once through the real actions, then put back row by row.

Building takes tens or hundreds of milliseconds, putting back a few. Each test rolls back, so each finds the database as it was
before the first was built, and the numbers of the rows are the same in each.
"""

import pickle
from collections.abc import Callable
from dataclasses import dataclass, field

import time_machine
from django.apps import apps
from django.db import connection
from django.utils import timezone


@dataclass
class State:
    """What `build` gave, and the rows that it left, by table."""

    given: bytes
    rows: dict[str, object] = field(default_factory=dict)


_states: dict[tuple, State] = {}


def remembered(build: Callable[[], object]):
    """What `build()` gives, with the rows that it leaves in tables that were empty. Built once for each time of the clock."""
    travelling = time_machine.escape_hatch.is_travelling()
    key = (build, timezone.now() if travelling else None)
    if key in _states:
        state = _states[key]
        _put_back(state.rows)
        return pickle.loads(state.given)
    filled = _filled()
    given = build()
    _states[key] = State(pickle.dumps(given), {table: _read(table) for table in _filled() - filled})
    return given


def _tables() -> list[str]:
    models = apps.get_models(include_auto_created=True)
    return [model._meta.db_table for model in models if model._meta.managed]


def _filled() -> set[str]:
    asked = " UNION ALL ".join(f"SELECT '{table}' WHERE EXISTS (SELECT 1 FROM {table})" for table in _tables())
    with connection.cursor() as cursor:
        cursor.execute(asked)
        return {table for (table,) in cursor.fetchall()}


def _read(table: str):
    """All rows, as this engine takes them back without loss."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(f"SELECT json_agg(t)::text FROM {table} t")
            return cursor.fetchone()[0].replace("'", "''")
        names = [column.name for column in connection.introspection.get_table_description(cursor, table)]
        # A plus before a name leaves its value alone, and has the driver leave it alone as well.
        values = ", ".join(f'+"{name}"' for name in names)
        return cursor.connection.execute(f"SELECT {values} FROM {table}").fetchall()


def _put_back(rows: dict[str, object]) -> None:
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            one = "INSERT INTO {0} SELECT * FROM json_populate_recordset(NULL::{0}, '{1}')"
            cursor.cursor.execute(";".join(one.format(table, found) for table, found in rows.items()))
            return
        for table, found in rows.items():
            places = ", ".join("?" * len(found[0]))
            cursor.connection.executemany(f"INSERT INTO {table} VALUES ({places})", found)
