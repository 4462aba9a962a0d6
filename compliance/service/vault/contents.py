"""What a database holds, told so that two of them can be compared whatever keeps them: of each table the number of its rows
and a digest of what is in them.
"""

import json
from collections.abc import Iterable
from datetime import UTC, date, datetime, time
from decimal import Decimal
from functools import cache, singledispatch
from hashlib import sha256
from uuid import UUID

from django.core.management.base import CommandError
from django.db import connections
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.db.models import Field, Model

from shared.versions import without_squashes

Contents = dict[str, list]  # table: [number of rows, digest]

NEWER = """{} was made by a newer version of this program, which knows {}.
Update the program to that version or a later one, and try again."""
MODULUS = 1 << 256


class Tally:
    """Counts the rows of a table and adds their digests up, so that the order in which they come makes no difference."""

    def __init__(self, fields: list[Field]):
        self.rows, self.sum = 0, 0
        self.json = [n for n, field in enumerate(fields) if field.get_internal_type() == "JSONField"]

    def add(self, row: Iterable) -> None:
        values = list(row)
        for n in self.json:
            values[n] = whole(values[n])
        digest = sha256(json.dumps(values, default=plain, sort_keys=True).encode()).digest()
        self.rows, self.sum = self.rows + 1, (self.sum + int.from_bytes(digest, "big")) % MODULUS

    def told(self) -> list:
        return [self.rows, f"{self.sum:064x}"]


@singledispatch
def plain(value) -> str:
    """What JSON has no word for, written in one way only."""
    raise TypeError(f"Say in {__name__} how a {type(value).__name__} is written.")


plain.register(datetime, lambda value: value.astimezone(UTC).isoformat())
plain.register(date, lambda value: value.isoformat())
plain.register(time, lambda value: value.isoformat())
plain.register(Decimal, lambda value: f"{value.normalize():f}")
plain.register(UUID, str)
plain.register(bytes, bytes.hex)
plain.register(memoryview, memoryview.hex)


def whole(value):
    """PostgreSQL writes 1e+20 in a JSON column out with all its noughts, and it comes back as a whole number."""
    if isinstance(value, dict):
        return {key: whole(each) for key, each in value.items()}
    if isinstance(value, list):
        return [whole(each) for each in value]
    return int(Decimal(repr(value))) if isinstance(value, float) and value.is_integer() else value


def migrations_of(alias: str) -> list[list[str]]:
    """Every migration that a database has had, as [app, name]."""
    return sorted(map(list, MigrationRecorder(connections[alias]).applied_migrations()))


def models_of(migrations: list[list[str]], what: str) -> list[type[Model]]:
    """The models as they were with these migrations and no others, so that an older database can be read too.

    Raises CommandError where there are some among them that this program does not know.
    """
    had = frozenset(map(tuple, migrations))
    if unknown := sorted(had - set(MigrationLoader(None).disk_migrations)):
        raise CommandError(NEWER.format(what, ", ".join(".".join(each) for each in unknown[:3])))
    return _models_after(had)


@cache
def _models_after(had: frozenset) -> list[type[Model]]:
    # One that stands for others needs the newest of each that it depends on, which may not have been had.
    loader = without_squashes()
    return loader.project_state(sorted(had & loader.graph.nodes.keys())).apps.get_models(include_auto_created=True)


def fields_of(model: type[Model]) -> list[Field]:
    return sorted(model._meta.concrete_fields, key=lambda field: field.column)


def rows_of(model: type[Model], alias: str) -> Iterable[tuple]:
    """All rows, a batch at a time in memory."""
    columns = [field.attname for field in fields_of(model)]
    return model._base_manager.using(alias).order_by().values_list(*columns).iterator(chunk_size=2000)


def contents_of(alias: str, models: list[type[Model]]) -> Contents:
    found = {}
    for model in models:
        tally = Tally(fields_of(model))
        for row in rows_of(model, alias):
            tally.add(row)
        found[model._meta.db_table] = tally.told()
    return found


def rows_in(contents: Contents) -> int:
    return sum(rows for rows, _ in contents.values())


def stop_if_different(here: Contents, there: Contents, words: str) -> None:
    """Raises CommandError with these words, and each table that is not the same in both."""
    wrong = [
        f"  {table}: {_rows(here, table)} and {_rows(there, table)}"
        for table in sorted(here.keys() | there.keys())
        if here.get(table) != there.get(table)
    ]
    if wrong:
        raise CommandError("\n".join([words, "These tables are not the same in both:", *wrong]))


def _rows(contents: Contents, table: str) -> str:
    rows = contents.get(table, [None])[0]
    return "none" if rows is None else f"{rows} rows"
