"""What a test tries and takes back."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import transaction


@contextmanager
def undone() -> Iterator[None]:
    """What is written in it is taken back at its end: each of many examples begins alike, and none looks through those before."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)
