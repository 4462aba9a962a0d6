"""The time at which something reaches the record. Made-up data may pretend it; nothing else does."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime

from django.utils import timezone

_pretended: ContextVar[datetime | None] = ContextVar("pretended", default=None)


def now() -> datetime:
    """The present moment, or the one that a demo pretends."""
    return _pretended.get() or timezone.now()


@contextmanager
def pretend(moment: datetime) -> Iterator[None]:
    """Have records made inside say that they were made at `moment`. Only the demo calls this; a test guards that."""
    token = _pretended.set(moment)
    try:
        yield
    finally:
        _pretended.reset(token)
