"""A state of the database that many tests begin with: built once through the real actions, then put back row by row.

Building takes tens or hundreds of milliseconds, putting back a few. Each test rolls back, so each finds the database as it was
before the first was built, and the numbers of the rows are the same in each.
"""

import pickle
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import time_machine
from django.apps import apps
from django.db import DatabaseError, connection
from django.utils import timezone

Rows = dict[str, dict[object, object]]  # by table and key, each as this engine takes it back


@dataclass
class State:
    """What `build` gave, the keys of the rows that it took away or changed, and the rows that it left, by table."""

    given: bytes
    gone: dict[str, list]
    rows: dict[str, list]


_states: dict[tuple, State] = {}
_given: dict[int, tuple] = {}  # of which state this test was given what


def remembered(build: Callable, *on):
    """What `build(*on)` gives, with the rows that it leaves. Built once for each time of the clock and each state
    that it stands on.
    """
    travelling = time_machine.escape_hatch.is_travelling()
    if not on:
        _given.clear()
    key = (build, timezone.now() if travelling else None, *(_given.get(id(each)) for each in on))
    if key in _states:
        state = _states[key]
        _take_away(state.gone)
        _put_back(state.rows)
        given = pickle.loads(state.given)
        _given[id(given)] = key
        return given
    before = all_rows()
    given = build(*on)
    _states[key] = State(pickle.dumps(given), *_difference(before, all_rows()))
    _given[id(given)] = key
    return given


def _difference(before: Rows, after: Rows) -> tuple[dict[str, list], dict[str, list]]:
    gone, left = {}, {}
    for table in {**before, **after}:
        old, new = before.get(table, {}), after.get(table, {})
        if taken := [key for key, row in old.items() if new.get(key) != row]:
            gone[table] = taken
        if come := [row for key, row in new.items() if old.get(key) != row]:
            left[table] = come
    return gone, left


def _keys() -> dict[str, str]:
    """The name of the key of each table."""
    models = apps.get_models(include_auto_created=True)
    return {model._meta.db_table: model._meta.pk.column for model in models if model._meta.managed}


def all_rows() -> Rows:
    """All that is in the database."""
    keys = _keys()
    asked = " UNION ALL ".join(f"SELECT '{table}' WHERE EXISTS (SELECT 1 FROM {table})" for table in keys)
    with connection.cursor() as cursor:
        cursor.execute(asked)
        return {table: _read(cursor, table, keys[table]) for (table,) in cursor.fetchall()}


def _read(cursor, table: str, key: str) -> dict[object, object]:
    """All rows, as this engine takes them back without loss."""
    if connection.vendor == "postgresql":
        cursor.execute(f'SELECT "{key}"::text, row_to_json(t)::text FROM {table} t')
        return dict(cursor.fetchall())
    names = _columns(table)
    # A plus before a name leaves its value alone, and has the driver leave it alone as well.
    values = ", ".join(f'+"{name}"' for name in names)
    rows = cursor.connection.execute(f"SELECT {values} FROM {table}").fetchall()
    return {row[names.index(key)]: row for row in rows}


@cache
def _columns(table: str) -> list[str]:
    with connection.cursor() as cursor:
        return [column[1] for column in cursor.connection.execute(f"PRAGMA table_info({table})")]


def _take_away(gone: dict[str, list]) -> None:
    keys = _keys()
    with connection.cursor() as cursor:
        for table, taken in gone.items():
            name = f'"{keys[table]}"' + ("::text" if connection.vendor == "postgresql" else "")
            cursor.execute(f"DELETE FROM {table} WHERE {name} IN ({', '.join(['%s'] * len(taken))})", taken)
            if cursor.rowcount != len(taken):
                raise DatabaseError(f"{table} is not as it was when this state was first built.")


def _put_back(rows: dict[str, list]) -> None:
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            one = "INSERT INTO {0} SELECT * FROM json_populate_recordset(NULL::{0}, '[{1}]')"
            texts = {table: ", ".join(found).replace("'", "''") for table, found in rows.items()}
            cursor.cursor.execute(";".join(one.format(table, text) for table, text in texts.items()))
            return
        for table, found in rows.items():
            places = ", ".join("?" * len(found[0]))
            cursor.connection.executemany(f"INSERT INTO {table} VALUES ({places})", found)
