"""From SQLite to an empty PostgreSQL: all of it in one transaction, or nothing."""

from collections.abc import Iterator
from contextlib import contextmanager

import psycopg
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import DatabaseError, connection, connections, transaction
from django.db.migrations.executor import MigrationExecutor
from django.db.models import Model

from shared.environment import database_of

from .beside import beside
from .contents import Contents, Tally, contents_of, fields_of, migrations_of, models_of, rows_of, stop_if_different

ONLY_FROM_SQLITE = (
    "The settings name no SQLite database to move from. Unset DATABASE_URL, or have it name the SQLite file."
)
ONLY_TO_POSTGRESQL = "Name a PostgreSQL database to move to, such as postgres://user@host/name."
BEHIND = "The SQLite database is older than this program. Run “python manage.py migrate” first, and try again."
NOT_EMPTY = """There are tables in that database already, and they stay as they are. Name an empty one: PostgreSQL's createdb
makes it."""
REFUSED = "PostgreSQL does not take {}: {}\nNothing was written there, and the SQLite database is as it was."
DIFFERENT = "What arrived is not what was sent. Nothing was written there, and the SQLite database is as it was."


def move(url: str) -> Contents:
    """Copy every table, while nobody can write to the source. Raises CommandError, with the target as empty as it was."""
    if connection.vendor != "sqlite":
        raise CommandError(ONLY_FROM_SQLITE)
    settings = database_of(url)
    if settings["ENGINE"] != "django.db.backends.postgresql":
        raise CommandError(ONLY_TO_POSTGRESQL)
    with beside(settings) as target, transaction.atomic(), _read_only():
        executor = MigrationExecutor(connection)
        if executor.migration_plan(executor.loader.graph.leaf_nodes()):
            raise CommandError(BEHIND)
        models = models_of(migrations_of("default"), "The SQLite database")
        with transaction.atomic(using=target):
            return _moved(models, target)


@contextmanager
def _read_only() -> Iterator[None]:
    """A migration that forgets which database it is run on must not change the source."""
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA query_only = ON")
        try:
            yield
        finally:
            connection.connection.execute("PRAGMA query_only = OFF")  # also where the transaction has failed


def _moved(models: list[type[Model]], target: str) -> Contents:
    if connections[target].introspection.table_names():
        raise CommandError(NOT_EMPTY)
    call_command("migrate", database=target, verbosity=0, interactive=False)
    for model in models:
        if model._base_manager.using(target).exists():  # what `migrate` made comes with the rest
            model._base_manager.using(target).all()._raw_delete(target)
    with connections[target].cursor() as cursor:
        # Those of columns that a migration added were left immediate by it.
        cursor.execute("SET CONSTRAINTS ALL DEFERRED")
    tables = {model._meta.db_table: model for model in models}
    sent = {name: _told(f"the table {name}", _copy, model, target) for name, model in tables.items()}
    _set_sequences(models, target)
    with connections[target].cursor() as cursor:
        _told("a row that names another one which is missing", cursor.execute, "SET CONSTRAINTS ALL IMMEDIATE")
    stop_if_different(sent, contents_of(target, models), DIFFERENT)
    return sent


def _told(what: str, act, *arguments):
    try:
        return act(*arguments)
    except (DatabaseError, psycopg.Error) as error:  # COPY is none of Django's
        raise CommandError(REFUSED.format(what, str(error).strip())) from error


def _copy(model: type[Model], target: str) -> list:
    """As PostgreSQL takes most rows soonest, a batch at a time in memory."""
    connection, fields = connections[target], fields_of(model)
    tally, quoted = Tally(fields), connection.ops.quote_name
    columns = ", ".join(quoted(field.column) for field in fields)
    with (
        connection.cursor() as cursor,
        cursor.copy(f"COPY {quoted(model._meta.db_table)} ({columns}) FROM STDIN") as copy,
    ):
        for row in rows_of(model, "default"):
            tally.add(row)
            copy.write_row(
                [field.get_db_prep_save(value, connection) for field, value in zip(fields, row, strict=True)]
            )
    return tally.told()


def _set_sequences(models: list[type[Model]], target: str) -> None:
    """To where SQLite's counters are, so that no number is given twice, not even that of a row which is gone."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT name, seq FROM sqlite_sequence")
        counted = dict(cursor.fetchall())
    with connections[target].cursor() as cursor:
        for model in models:
            table, pk = model._meta.db_table, model._meta.pk
            if table in counted and counted[table] > 0:
                cursor.execute("SELECT setval(pg_get_serial_sequence(%s, %s), %s)", [table, pk.column, counted[table]])
