"""Statements that are asked again and again with other values. Django puts the text of each together once: for a small query
that takes several times as long as the database takes to answer."""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from copy import copy
from functools import cache

from django.db import connection
from django.db.models import BigIntegerField, Expression, Field, Func, Model, QuerySet
from django.db.models.expressions import RawSQL
from django.db.models.query import ModelIterable, get_related_populators

from .key_lists import written_out

KEYS = "[keys{}]"
CHUNK = 500
NAMED = re.compile(re.escape(KEYS).replace(r"\{\}", r"( \w+)"))


class Slot(Expression):
    """Stands in a queryset for a value that is given when it is asked; a key, unless another field is named."""

    def __init__(self, name: str, output_field: Field | None = None):
        super().__init__(output_field=output_field or BigIntegerField())
        self.name = name

    def as_sql(self, compiler, connection):
        return "%s", [self]

    def filled(self, value):
        return self.output_field.get_db_prep_value(value, connection)


def keys(name: str = "") -> RawSQL:
    """Stands in a queryset for a list of keys, or for that of a name: `…__in=keys()`."""
    return RawSQL(KEYS.format(name and f" {name}"), [])


class Prepared:
    """A queryset with slots in it, which `make` gives: of a model, or of `values_list`."""

    def __init__(self, make: Callable[[], QuerySet]):
        self._compiled = cache(lambda vendor: _compiled(make()))

    def rows(self, keys: Iterable[int] = (), /, **values) -> list[tuple]:
        """`keys` fill the places of `keys()`, the others those and the slots of their names."""
        with connection.cursor() as cursor:
            self._ask(cursor, keys, values)
            return self._converted(cursor.fetchall())

    def objects(self, keys: Iterable[int] = (), /, **values) -> list[Model]:
        """Where it is one of a model; with the related ones and the annotations that it selects."""
        return list(map(self._made(), self.rows(keys, **values)))

    def streamed(self, values: Mapping) -> Iterator:
        """The same, rows or objects, with no more than a chunk of them in memory."""
        made = self._made() if self._compiled(connection.vendor)[4] else tuple
        with connection.chunked_cursor() as cursor:
            self._ask(cursor, (), values)
            while found := cursor.fetchmany(CHUNK):
                yield from map(made, self._converted(found))

    def _ask(self, cursor, keys: Iterable[int], values: Mapping) -> None:
        _, sql, given, *_ = self._compiled(connection.vendor)
        told = [each.filled(values[each.name]) if isinstance(each, Slot) else each for each in given]
        sql = NAMED.sub(lambda name: written_out(values[name[1].strip()]), sql)
        cursor.execute(sql.replace(KEYS.format(""), written_out(keys)), told)

    def _converted(self, found: list[tuple]) -> list[tuple]:
        compiler, _, _, converters, _ = self._compiled(connection.vendor)
        here = copy(compiler)
        here.connection = connection  # each thread has its own
        return list(map(tuple, here.apply_converters(found, converters))) if converters else found

    def _made(self) -> Callable[[tuple], Model]:
        """What makes an object of a row."""
        compiler = self._compiled(connection.vendor)[0]
        places, model = compiler.klass_info["select_fields"], compiler.query.model
        start, end = places[0], places[-1] + 1
        names = [compiler.select[place][0].target.attname for place in places]
        related = get_related_populators(compiler.klass_info, compiler.select, connection.alias)

        def make(row: tuple) -> Model:
            made = model.from_db(connection.alias, names, row[start:end])
            for each in related:
                each.populate(row, made)
            for name, place in compiler.annotation_col_map.items():
                setattr(made, name, row[place])
            return made

        return make


class PreparedSubquery:
    """A subquery whose slots are columns of the rows that it is asked for: `FIRST(at="taken_at")` is its expression for rows
    that have `taken_at`. No slot may lie in a subquery of its own.

    `form`: what becomes of it, such as `EXISTS(%s)`.
    """

    def __init__(self, make: Callable[[], QuerySet], output_field: Field, form: str = "(%s)"):
        self.output_field, self.form = output_field, form
        self._compiled = cache(lambda vendor: _compiled(_apart(make()))[1:3])

    def __call__(self, **columns: str) -> "Looked":
        return Looked(self, columns)

    def parts(self, vendor: str) -> tuple[list[str], list]:
        """Its text around each value, and the values: slots, and what is the same for all rows."""
        sql, given = self._compiled(vendor)
        return (self.form % sql.replace("%s", "\0")).split("\0"), given


class Looked(Func):
    """What a prepared subquery finds for each row."""

    def __init__(self, prepared: PreparedSubquery, columns: dict[str, str]):
        self.prepared, self.names = prepared, list(columns)
        super().__init__(*columns.values(), output_field=prepared.output_field)

    def as_sql(self, compiler, connection, **options):
        columns = dict(zip(self.names, map(compiler.compile, self.source_expressions), strict=True))
        (sql, *texts), given = self.prepared.parts(connection.vendor)
        params = []
        for each, text in zip(given, texts, strict=True):
            place, more = columns[each.name] if isinstance(each, Slot) else ("%s", [each])
            sql, params = f"{sql}{place}{text}", [*params, *more]
        return sql, params


def _apart(rows: QuerySet) -> QuerySet:
    """The same with names of tables that no outer query has: a column that is put in there would be taken for one of its own."""
    rows = rows.all()
    rows.query.change_aliases({alias: f"inner_{alias}" for alias in rows.query.alias_map})
    return rows


def _compiled(rows: QuerySet) -> tuple:
    """The last of it says whether its rows are objects."""
    compiler = rows.query.get_compiler(connection=connection)
    sql, given = compiler.as_sql()
    converters = compiler.get_converters([column for column, *_ in compiler.select])
    return compiler, sql, given, converters, rows._iterable_class is ModelIterable
