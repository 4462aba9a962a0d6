"""What is written once the database itself refuses to change, whoever asks. `migrate` sets the triggers, each time anew:
a table that a migration makes again on SQLite comes back without its own.

SQLite's REPLACE deletes the row in its way without asking a trigger for DELETE. So before a row goes in, those that have
its primary key or one of its unique keys are noted; once it is in, none of them may be gone. `ON CONFLICT DO NOTHING` puts no
row in, and a plain duplicate fails at its constraint as ever.
"""

from collections.abc import Iterator

from django.apps import apps
from django.db import connections, models

AT_STAKE = "CREATE TABLE IF NOT EXISTS facts_at_stake (record_table text NOT NULL, record_id integer NOT NULL)"
SQLITE_REFUSES = """CREATE TRIGGER {table}_refuses_{verb} BEFORE {verb} ON {table}
BEGIN SELECT RAISE(ABORT, 'records in {table} are written once'); END"""
SQLITE_NOTES = """CREATE TRIGGER {table}_notes_what_is_at_stake BEFORE INSERT ON {table}
BEGIN
DELETE FROM facts_at_stake WHERE record_table = '{table}';
INSERT INTO facts_at_stake SELECT '{table}', {pk} FROM {table} WHERE {alike};
END"""
SQLITE_KEEPS = """CREATE TRIGGER {table}_refuses_REPLACE AFTER INSERT ON {table}
WHEN EXISTS (SELECT 1 FROM facts_at_stake s WHERE s.record_table = '{table}'
AND (s.record_id = NEW.{pk} OR NOT EXISTS (SELECT 1 FROM {table} WHERE {pk} = s.record_id)))
BEGIN SELECT RAISE(ABORT, 'records in {table} are written once'); END"""
POSTGRES_FUNCTION = """CREATE OR REPLACE FUNCTION noughtbook_written_once() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION 'records in % are written once', TG_TABLE_NAME USING ERRCODE = 'integrity_constraint_violation'; END $$"""
POSTGRES_REFUSES = """CREATE TRIGGER {table}_refuses_{verb} BEFORE {verb} ON {table}
FOR EACH STATEMENT EXECUTE FUNCTION noughtbook_written_once()"""


def written_once() -> list[type[models.Model]]:
    return [model for model in apps.get_models() if getattr(model, "written_once", False)]


def guard_records(using: str, connections=connections, **kwargs) -> None:
    """Set every trigger that is missing or not as it should be. Writes nothing where all are there."""
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    guard = _guard_sqlite if connection.vendor == "sqlite" else _guard_postgres
    with connection.cursor() as cursor:
        for model in written_once():
            if model._meta.db_table in tables:
                guard(cursor, model._meta.db_table, model._meta.pk.column)


def _guard_sqlite(cursor, table: str, pk: str) -> None:
    keys = [(pk,), *_unique_keys(cursor, table)]
    alike = " OR ".join(" AND ".join(f'"{column}" = NEW."{column}"' for column in key) for key in keys)
    wanted = {f"{table}_refuses_{verb}": SQLITE_REFUSES.format(table=table, verb=verb) for verb in ("UPDATE", "DELETE")}
    wanted[f"{table}_notes_what_is_at_stake"] = SQLITE_NOTES.format(table=table, pk=pk, alike=alike)
    wanted[f"{table}_refuses_REPLACE"] = SQLITE_KEEPS.format(table=table, pk=pk)
    cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = %s", [table])
    there = dict(cursor.fetchall())
    wrong = [name for name, sql in wanted.items() if there.get(name) != sql]
    if wrong:
        cursor.execute(AT_STAKE)
    for name in wrong:
        cursor.execute(f"DROP TRIGGER IF EXISTS {name}")
        cursor.execute(wanted[name])


def _unique_keys(cursor, table: str) -> Iterator[tuple[str, ...]]:
    """A partial index counts like a whole one: what it notes too much is still there afterwards."""
    cursor.execute('SELECT name FROM pragma_index_list(%s) WHERE "unique" ORDER BY name', [table])
    for (index,) in cursor.fetchall():
        cursor.execute("SELECT name FROM pragma_index_info(%s) ORDER BY seqno", [index])
        columns = tuple(name for (name,) in cursor.fetchall())
        if None in columns:
            raise NotImplementedError(f"{index}: say in shared/guards.py how a key with an expression is compared.")
        yield columns


def _guard_postgres(cursor, table: str, pk: str) -> None:
    cursor.execute(
        "SELECT tgname FROM pg_trigger WHERE tgrelid = %s::regclass AND NOT tgisinternal AND tgenabled IN ('O', 'A')",
        [table],
    )
    there = {name for (name,) in cursor.fetchall()}
    wrong = [verb for verb in ("update", "delete", "truncate") if f"{table}_refuses_{verb}" not in there]
    if wrong:
        cursor.execute(POSTGRES_FUNCTION)
    for verb in wrong:
        cursor.execute(f"DROP TRIGGER IF EXISTS {table}_refuses_{verb} ON {table}")
        cursor.execute(POSTGRES_REFUSES.format(table=table, verb=verb))
