"""What a record says, as a digest: of the named columns of its row, so that a column that comes later changes none."""

import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from hashlib import sha256
from itertools import groupby
from typing import NamedTuple

from django.apps import apps
from django.db import connection, models

from shared.guards import written_once
from shared.prepared import Prepared, keys

from .canonical import canonical
from .models import Entry, HashedColumns

AT_ONCE = 2000  # rows that are read at a time
SHORT = 8  # bytes of a digest that name a row among many; the whole of them is in the digest of all
# Of the rows that were made, by model and key: the digest, or None where the row is still to be read back for it.
Made = Mapping[type[models.Model], Mapping[int, bytes | None]]


class Group(NamedTuple):
    """Rows of one table that an entry holds: which columns, the keys as ranges, a digest of all, and of each in short."""

    table: str
    columns: str
    keys: str
    digest: str
    each: str


@dataclass(frozen=True)
class Columns:
    """Which columns of a table are hashed. Its code is made of their names, so it means the same in every database."""

    table: str
    columns: tuple[str, ...]

    @property
    def code(self) -> str:
        return sha256(canonical([self.table, *self.columns]).encode()).hexdigest()[:16]


def kept_records() -> list[type[models.Model]]:
    """Every model whose rows the entries of the trail hold."""
    return [model for model in written_once() if model not in (Entry, HashedColumns)]


def records_there() -> list[type[models.Model]]:
    """Those of which there is a row, by one statement."""
    kept = kept_records()
    any_of = "SELECT {} WHERE EXISTS (SELECT 1 FROM {})"
    with connection.cursor() as cursor:
        cursor.execute(" UNION ALL ".join(any_of.format(n, model._meta.db_table) for n, model in enumerate(kept)))
        return [kept[n] for (n,) in cursor.fetchall()]


@cache
def layout_of(model: type[models.Model]) -> Columns:
    """Of today. An entry of the trail is held by another one only where it is older than the chain."""
    left_out = Entry.CHAIN if model is Entry else ()
    fields = model._meta.concrete_fields
    return Columns(model._meta.db_table, tuple(sorted(f.column for f in fields if f.attname not in left_out)))


def model_of(table: str) -> type[models.Model] | None:
    return next((model for model in apps.get_models() if model._meta.db_table == table), None)


class ColumnGone(Exception):
    """A record was hashed with a column that this program does not know."""


@lru_cache(maxsize=256)
def _read(model: type[models.Model], layout: Columns) -> Prepared:
    names = {field.column: field.attname for field in model._meta.concrete_fields}
    if missing := [column for column in layout.columns if column not in names]:
        raise ColumnGone(f"{layout.table} has no column {', '.join(missing)} any more.")
    fields = [names[column] for column in layout.columns]
    rows = model._base_manager.filter(pk__in=keys()).order_by("pk")
    return Prepared(lambda: rows.values_list("pk", *fields))


def row_digests(
    model: type[models.Model], pks: Iterable[int], layout: Columns | None = None
) -> Iterator[tuple[int, bytes]]:
    """Key and digest of each of these rows that is there, in the order of the keys."""
    layout, pks = layout or layout_of(model), sorted(pks)
    prepared = _read(model, layout)
    for start in range(0, len(pks), AT_ONCE):
        for pk, *values in prepared.rows(pks[start : start + AT_ONCE]):
            yield pk, _digest(layout, values)


def _digest(layout: Columns, values: Iterable) -> bytes:
    told = ",".join([f'"{name}":{canonical(value)}' for name, value in zip(layout.columns, values, strict=True)])
    return sha256(f'{{"columns":{{{told}}},"table":"{layout.table}"}}'.encode()).digest()


def digest_of(row: models.Model) -> bytes | None:
    """Of a row that was just saved, as it will be read back; None where only the database knows how."""
    layout = layout_of(type(row))
    ways = _as_read_back(type(row), layout)
    values = [getattr(row, name) for name, _ in ways or ()]
    if ways is None or any(hasattr(value, "resolve_expression") for value in values):
        return None
    return _digest(layout, [way(value) for (_, way), value in zip(ways, values, strict=True)])


@lru_cache(maxsize=256)
def _as_read_back(model: type[models.Model], layout: Columns) -> list[tuple[str, Callable]] | None:
    """By attribute, what a database makes of a value; None for a table with decimals, which a database rounds."""
    fields = {field.column: field for field in model._meta.concrete_fields}
    kept = [(fields[column].attname, _itself(fields[column])) for column in layout.columns]
    if any(isinstance(field, models.DecimalField) for _, field in kept):
        return None
    return [(name, _through_json if isinstance(field, models.JSONField) else field.to_python) for name, field in kept]


def _itself(field: models.Field) -> models.Field:
    """Of a key the field that it leads to."""
    return _itself(field.target_field) if field.is_relation else field


def _through_json(value):
    return json.loads(json.dumps(value))


def read_back(made: Made) -> Made:
    """With the digests that were still to come; a row that was taken back in its transaction is none."""
    lacking = {model: [pk for pk, digest in rows.items() if digest is None] for model, rows in made.items()}
    return {
        model: {pk: digest for pk, digest in rows.items() if digest}
        | (dict(row_digests(model, lacking[model])) if lacking[model] else {})
        for model, rows in made.items()
    }


def groups(made: Made) -> list[Group]:
    """What an entry holds."""
    tables = sorted((model for model in made if made[model]), key=lambda model: model._meta.db_table)
    return [group_of(layout_of(model), dict(sorted(made[model].items()))) for model in tables]


def group_of(layout: Columns, found: dict[int, bytes]) -> Group:
    each = b"" if len(found) == 1 else b"".join([digest[:SHORT] for digest in found.values()])
    whole = sha256(b"".join(found.values())).hexdigest()
    return Group(layout.table, layout.code, as_ranges(found), whole, urlsafe_b64encode(each).decode())


def in_short(group: Group) -> list[bytes]:
    """The digest of each row in short, in the order of the keys; none of a row that is alone."""
    each = urlsafe_b64decode(group.each)
    return [each[start : start + SHORT] for start in range(0, len(each), SHORT)]


def as_ranges(pks: Iterable[int]) -> str:
    """Sorted keys in few characters: 3-7,9."""
    told = []
    for _, run in groupby(enumerate(pks), key=lambda each: each[1] - each[0]):
        run = [pk for _, pk in run]
        told.append(str(run[0]) if len(run) == 1 else f"{run[0]}-{run[-1]}")
    return ",".join(told)


def from_ranges(text: str) -> list[range]:
    ends = (part.partition("-") for part in text.split(","))
    return [range(int(first), int(last or first) + 1) for first, _, last in ends]
