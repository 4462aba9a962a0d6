"""What `migrate` does for the chain: it writes down which columns are hashed, and seals what was there before the chain."""

from collections.abc import Iterator

from django.db import connections, models, transaction
from django.db.migrations.loader import MigrationLoader

from shared.versions import yet_to_apply

from . import trail
from .digests import kept_records, layout_of, records_there
from .models import Entry, HashedColumns

IN_ONE_ENTRY = 20_000  # records


def open_chain(using: str, **kwargs) -> None:
    """Seals nothing any more once there is a chain: a row that came in behind the back of the program is told, not adopted."""
    there = connections[using].introspection.table_names()
    if using != "default" or HashedColumns._meta.db_table not in there:  # to another one they are moved with the rest
        return
    _write_columns()
    if Entry.objects.filter(number__isnull=False).exists():
        return
    if (records_there() or Entry.objects.exists()) and not yet_to_apply(MigrationLoader(connections[using])):
        seal_what_is_there()


def _write_columns() -> None:
    rows = HashedColumns.objects
    known = set(rows.values_list("code", flat=True))
    layouts = [layout_of(model) for model in (*kept_records(), Entry)]
    rows.bulk_create(
        HashedColumns(code=each.code, table=each.table, columns=list(each.columns))
        for each in layouts
        if each.code not in known
    )


def seal_what_is_there() -> None:
    """The opening seal: entries of the house that hold every record of before, and every entry."""
    with transaction.atomic():
        for model in (*records_there(), Entry):
            for pks in _pieces(model):
                with trail.together():
                    trail.made(model, pks)
                    trail.adopt(HashedColumns.objects.get(code=layout_of(model).code))


def _pieces(model: type[models.Model]) -> Iterator[list[int]]:
    """Of the trail only what is older than the chain."""
    rows = model._base_manager.filter(number=None) if model is Entry else model._base_manager.all()
    pks = list(rows.order_by("pk").values_list("pk", flat=True))
    for start in range(0, len(pks), IN_ONE_ENTRY):
        yield pks[start : start + IN_ONE_ENTRY]
