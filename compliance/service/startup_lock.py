"""One process at a time brings a database up to date."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from django.db import connection

from shared.private import private_file

LOCK = 0x6E6F7567  # any number, the same in all processes
WAITS_FOR = 600  # seconds, in which a demo is made


@contextmanager
def startup_lock() -> Iterator[None]:
    """Wait until no other process on this database is in such a block, and keep others out while this one is."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_lock(%s)", [LOCK])
        try:
            yield
        finally:
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_unlock(%s)", [LOCK])
        return
    beside = f"{connection.settings_dict['NAME']}-start"
    private_file(Path(beside))
    with closing(sqlite3.connect(beside, timeout=WAITS_FOR, isolation_level=None)) as lock:
        lock.execute("BEGIN EXCLUSIVE")  # which ends with the process, however that ends
        yield
