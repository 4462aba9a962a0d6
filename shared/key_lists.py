"""Lists of keys in a statement. To put in thousands of parameters takes a driver longer than the database takes to answer."""

from collections.abc import Iterable

from django.db.models.expressions import RawSQL


def written_out(keys: Iterable[int]) -> str:
    """Whole numbers as they stand between the brackets of an IN; for none at all nothing is in it."""
    return ", ".join(str(int(key)) for key in keys) or "NULL"


def among(keys: Iterable[int]) -> RawSQL:
    """For `…__in` of a queryset where there may be thousands of keys."""
    return RawSQL(written_out(keys), [])
