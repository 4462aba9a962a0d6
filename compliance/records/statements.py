"""What a record asks for: each statement is put together once, with slots for the site, the period and the moment of printing."""

from collections.abc import Callable, Iterator
from functools import wraps

from django.db.models import DateField, DateTimeField, QuerySet

from shared.prepared import Prepared, Slot, keys

from .scope import RecordScope


class Slots:
    """Stands for a scope in the statements that are made with it."""

    site, business = Slot("site"), Slot("business")
    first, last = Slot("first", DateField()), Slot("last", DateField())
    start, end = Slot("start", DateTimeField()), Slot("end", DateTimeField())
    now, reached = Slot("now", DateTimeField()), Slot("reached", DateTimeField())
    probe_keys, deviation_keys, file_keys = keys("probe_keys"), keys("deviation_keys"), keys("file_keys")
    within, readings, judged = RecordScope.within, RecordScope.readings, RecordScope.judged


class Filled:
    """The values of a scope for those slots; each is worked out where a statement has it."""

    def __init__(self, scope: RecordScope):
        self._scope = scope

    def __getitem__(self, name: str):
        value = getattr(self._scope, name)
        return value.pk if name in ("site", "business") else value


def asked(make: Callable[[RecordScope], QuerySet]) -> Callable[[RecordScope], Iterator]:
    """What the queryset that `make` gives finds, objects or rows, streamed: to be read once, and true even where it is empty; ask
    again to read again. `make` may look at its scope for values to ask with alone: it is called once, with slots in their place.
    """
    statement = Prepared(lambda: make(Slots()))

    @wraps(make)
    def found(scope: RecordScope) -> Iterator:
        return statement.streamed(Filled(scope))

    return found
