"""A database beside the one of the settings, for as long as it is needed."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connections

BESIDE = "beside"


@contextmanager
def beside(settings: dict) -> Iterator[str]:
    """The alias under which Django reaches it in the block."""
    connections.databases[BESIDE] = connections.configure_settings({"default": settings})["default"]
    try:
        yield BESIDE
    finally:
        connections[BESIDE].close()
        del connections[BESIDE], connections.databases[BESIDE]
