"""Who opens the SQLite file with a shell of their own cannot replace a fact either: by its primary key, nor by a unique one.

REPLACE deletes the row in its way and fires no trigger for DELETE (sqlite.org, "ON CONFLICT clause"): a guard of its own is
needed, which must let `ON CONFLICT DO NOTHING` pass over what is there, and leave a plain duplicate to its constraint.
"""

import sqlite3
from contextlib import closing, contextmanager, suppress
from itertools import count

import pytest
from django.db import ConnectionHandler, connection, models
from hypothesis import given
from hypothesis import strategies as st

from compliance.quarantine.models import Decision
from compliance.readings.models import Reading
from shared.guards import guard_records, written_once
from tests.rows import ONE_OF

pytestmark = [pytest.mark.django_db, pytest.mark.engine("sqlite")]  # PostgreSQL has no REPLACE
number = count(1)


def unique_keys(model):
    yield from ((field.column,) for field in model._meta.concrete_fields if field.unique)
    for constraint in model._meta.constraints:
        if isinstance(constraint, models.UniqueConstraint):
            assert constraint.fields, "say in shared/guards.py how a key with an expression is compared"
            yield tuple(model._meta.get_field(name).column for name in constraint.fields)


KEYS = [
    pytest.param(model, key, id=f"{model._meta.db_table}-{','.join(key)}")
    for model in written_once()
    for key in unique_keys(model)
]
every_key = pytest.mark.parametrize(("model", "key"), KEYS)


def row_of(model, **given) -> dict:
    """Every column that must not be empty, filled with what no other row has."""
    row = {}
    for field in model._meta.concrete_fields:
        if field.primary_key or not field.null or field.name == ONE_OF.get(model._meta.label_lower):
            told = {"JSONField": "{}", "BooleanField": 1}
            whole = field.is_relation or isinstance(field, models.IntegerField)
            row[field.column] = told.get(field.get_internal_type(), next(number) if whole else f"x{next(number)}")
    return row | given


def listed(columns) -> str:
    return ", ".join(f'"{column}"' for column in columns)


def put(shell, model, row, verb="INSERT", end=""):
    places = ", ".join("?" * len(row))
    sql = f"{verb} INTO {model._meta.db_table} ({listed(row)}) VALUES ({places}) {end}"
    shell.execute(sql, list(row.values()))


def rows_of(shell, model) -> list:
    return shell.execute(f"SELECT * FROM {model._meta.db_table} ORDER BY {model._meta.pk.column}").fetchall()


@pytest.fixture(scope="module")
def file(django_db_setup, django_db_blocker, tmp_path_factory):
    """A database as `migrate` leaves it."""
    path = tmp_path_factory.mktemp("shell") / "noughtbook.sqlite3"
    with django_db_blocker.unblock(), closing(sqlite3.connect(path)) as copy:
        connection.ensure_connection()
        connection.connection.backup(copy)
    return path


@pytest.fixture(scope="module")
def opened(file):
    """A connection that sets nothing at all: one, since each reads all tables and triggers before its first statement."""
    with closing(sqlite3.connect(file, isolation_level=None)) as connection:
        yield connection


@contextmanager
def undone(opened):
    opened.execute("BEGIN")
    try:
        yield opened
    finally:
        opened.rollback()


@pytest.fixture
def shell(opened):
    """What a test writes is rolled back."""
    with undone(opened):
        yield opened


@pytest.fixture
def alike(shell, model, key):
    """A row that is there, and another one with the same key."""
    row = row_of(model, **{column: next(number) for column in key if column != model._meta.pk.column})
    put(shell, model, row)
    return row, row_of(model, **{column: row[column] for column in key})


@every_key
def test_a_record_is_not_replaced_and_a_plain_duplicate_fails_at_its_constraint(shell, model, key, alike):
    there, table = rows_of(shell, model), model._meta.db_table
    for verb, end in (
        ("REPLACE", ""),
        ("INSERT OR REPLACE", ""),
        ("INSERT", f"ON CONFLICT DO UPDATE SET {key[0]} = 0"),
    ):
        with pytest.raises(sqlite3.IntegrityError, match=f"^records in {table} are written once$"):
            put(shell, model, alike[1], verb, end)
        assert rows_of(shell, model) == there
    with pytest.raises(sqlite3.IntegrityError, match=f"^records in {table} are written once$"):
        shell.execute(f"UPDATE OR REPLACE {table} SET {key[0]} = {key[0]}")
    named = ", ".join(f"{table}.{column}" for column in key)
    with pytest.raises(sqlite3.IntegrityError, match=f"^UNIQUE constraint failed: {named}$"):
        put(shell, model, alike[1])


@every_key
def test_a_record_that_is_there_is_passed_over_and_the_next_one_goes_in(shell, model, key, alike):
    there = rows_of(shell, model)
    put(shell, model, alike[1], end="ON CONFLICT DO NOTHING")
    put(shell, model, alike[1], "INSERT OR IGNORE")
    assert rows_of(shell, model) == there
    put(shell, model, row_of(model))
    put(shell, model, row_of(model), "INSERT OR REPLACE")  # which is in nobody's way
    assert len(rows_of(shell, model)) == len(there) + 2


@pytest.mark.parametrize("name", ["rowid", "oid", "_rowid_", "id"])
def test_other_names_and_spellings_of_the_primary_key_are_seen_through(shell, name):
    row = row_of(Reading)
    put(shell, Reading, row)
    other = row_of(Reading)
    del other["id"]
    with pytest.raises(sqlite3.IntegrityError, match="written once"):
        put(shell, Reading, other | {name: f" {row['id']}.0"}, "INSERT OR REPLACE")


def test_what_is_written_into_the_notes_of_the_guard_changes_nothing(shell):
    row = row_of(Reading)
    put(shell, Reading, row)
    shell.execute("INSERT INTO facts_at_stake VALUES ('readings_reading', 987654321)")
    put(shell, Reading, row_of(Reading))
    shell.execute("DELETE FROM facts_at_stake")
    with pytest.raises(sqlite3.IntegrityError, match="written once"):
        put(shell, Reading, row, "REPLACE")


def test_a_row_whose_key_is_still_to_be_made_is_in_nobodys_way(shell):
    put(shell, Reading, row_of(Reading, id=-1))  # what SQLite shows to a trigger where no key is given
    new = row_of(Reading)
    del new["id"]
    put(shell, Reading, new)
    assert len(rows_of(shell, Reading)) == 2


SMALL = st.one_of(st.none(), st.integers(-1, 3))
POLICIES = st.sampled_from(["", " OR REPLACE", " OR IGNORE", " OR ABORT", " OR FAIL"])


@given(st.lists(st.tuples(POLICIES, st.lists(st.tuples(SMALL, SMALL, SMALL), min_size=1, max_size=3)), max_size=8))
def test_whatever_is_put_in_what_is_there_stays(opened, statements):
    """Decisions have the most keys: their own, the one that they replace, and one for the first on a reading."""
    columns = row_of(Decision)
    with undone(opened) as shell:
        for policy, given_keys in statements:
            before = set(rows_of(shell, Decision))
            told = [
                columns | {"id": pk, "reading_id": reading or 0, "replaces_id": old} for pk, reading, old in given_keys
            ]
            places = ", ".join([f"({', '.join('?' * len(told[0]))})"] * len(told))
            sql = f"INSERT{policy} INTO quarantine_decision ({listed(told[0])}) VALUES {places}"
            with suppress(sqlite3.IntegrityError):
                shell.execute(sql, [cell for row in told for cell in row.values()])
            assert before <= set(rows_of(shell, Decision))


def test_a_table_that_a_migration_makes_again_is_guarded_again(file, tmp_path):
    """Django changes a column on SQLite by copying the table, whose triggers go with the old one."""
    copy = tmp_path / "copy.sqlite3"
    copy.write_bytes(file.read_bytes())
    handler = ConnectionHandler({"default": connection.settings_dict | {"NAME": str(copy)}})
    field = Reading._meta.get_field("item")
    longer = models.CharField(max_length=200)
    longer.set_attributes_from_name("item")
    with closing(handler["default"]) as own:
        before = triggers(own)
        with own.schema_editor() as editor:
            editor.alter_field(Reading, field, longer)
        assert triggers(own) != before
        guard_records("default", connections=handler)
        assert triggers(own) == before


def triggers(own) -> set:
    with own.cursor() as cursor:
        return set(cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall())
