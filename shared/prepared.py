"""Statements that are asked again and again with other values. Django puts the text of each together once: for a small query
that takes several times as long as the database takes to answer."""

from collections.abc import Callable, Iterable
from copy import copy
from functools import cache

from django.db import connection
from django.db.models import BigIntegerField, Expression, Field, Model, QuerySet
from django.db.models.expressions import RawSQL

from .key_lists import written_out

KEYS = "[keys]"


class Slot(Expression):
    """Stands in a queryset for a value that is given when it is asked; a key, unless another field is named."""

    def __init__(self, name: str, output_field: Field | None = None):
        super().__init__(output_field=output_field or BigIntegerField())
        self.name = name

    def as_sql(self, compiler, connection):
        return "%s", [self]

    def filled(self, value):
        return self.output_field.get_db_prep_value(value, connection)


def keys() -> RawSQL:
    """Stands, once in a queryset, for a list of keys: `…__in=keys()`."""
    return RawSQL(KEYS, [])


class Prepared:
    """A queryset with slots in it, which `make` gives: of a model without related ones, or of `values_list`."""

    def __init__(self, make: Callable[[], QuerySet]):
        self._compiled = cache(lambda vendor: _compiled(make()))

    def rows(self, keys: Iterable[int] = (), /, **values) -> list[tuple]:
        """`keys` fill the place of `keys()`, the others the slots of their names."""
        compiler, sql, given, converters = self._compiled(connection.vendor)
        told = [each.filled(values[each.name]) if isinstance(each, Slot) else each for each in given]
        with connection.cursor() as cursor:
            cursor.execute(sql.replace(KEYS, written_out(keys)), told)
            found = cursor.fetchall()
        if not converters:
            return found
        here = copy(compiler)
        here.connection = connection  # each thread has its own
        return list(map(tuple, here.apply_converters(found, converters)))

    def objects(self, **values) -> list[Model]:
        """Where it is one of a model."""
        model = self._compiled(connection.vendor)[0].query.model
        names = [field.attname for field in model._meta.concrete_fields]
        return [model.from_db(connection.alias, names, row) for row in self.rows(**values)]


def _compiled(rows: QuerySet) -> tuple:
    compiler = rows.query.get_compiler(connection=connection)
    sql, given = compiler.as_sql()
    return compiler, sql, given, compiler.get_converters([each for each, *_ in compiler.select])
