"""Whether the database can be written. Nothing but writing tells: a change that is taken back need not reach the disk."""

import shutil
from pathlib import Path
from time import monotonic

from django.db import DatabaseError, OperationalError, connection, transaction

from shared.trouble import Trouble, trouble_of

from . import task_runs

WAIT_FOR_WRITERS = 1  # seconds
EVERY = 5  # seconds from one try to the next, however often strangers ask
LEAST_FREE = 20  # MB on the disk of an SQLite file: into its log a little goes even when that is full
HELD = "is read, but another program keeps it for writing: nothing can be saved"
SAYS = {
    Trouble.FULL: "The disk is full: nothing can be saved until there is room",
    Trouble.READ_ONLY: "The database can be read but not written: nothing can be saved until its file, folder or role allows it",
    Trouble.BUSY: HELD,
}
NEARLY_FULL = "The disk is nearly full: {} MB are left. Make room before nothing can be saved"
# A row that is changed may fit where it was. These have to find new room, on the disk that the tables are on.
ASK_FOR_ROOM = "CREATE TEMPORARY TABLE noughtbook_room AS SELECT md5(n::text) FROM generate_series(1, 500) AS n"


class Seldom:
    """What was found at the last try, or now where that is too long ago. Who asks during a try gets what was found before."""

    def __init__(self):
        self.at, self.says = None, ""

    def ask(self) -> str:
        if self.at is None or monotonic() - self.at >= EVERY:
            self.at = monotonic()
            self.says = refused() or nearly_full()
        return self.says


def unwritable() -> str:
    """In words why nothing can be saved, or soon; empty where it can. Raises what is no such reason, as DatabaseError."""
    return HELD if held() else seldom.ask()


def held() -> bool:
    """Whether another program has the database to itself for writing, as SQLite allows, and does not let go of it."""
    if connection.vendor != "sqlite":
        return False
    try:
        with connection.cursor() as cursor:
            cursor.execute(f"PRAGMA busy_timeout = {WAIT_FOR_WRITERS * 1000}")  # of this thread's own connection
            cursor.execute("BEGIN IMMEDIATE")
            cursor.execute("ROLLBACK")
    except OperationalError as error:
        return trouble_of(error) is Trouble.BUSY
    return False


def refused() -> str:
    """Writes a row, and asks for room for more."""
    try:
        task_runs.note("health")
        return no_room() if connection.vendor == "postgresql" else ""
    except DatabaseError as error:
        if says := SAYS.get(trouble_of(error)):
            return says
        raise


def no_room() -> str:
    """A role that may make no such table is none the worse for it."""
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(ASK_FOR_ROOM)
            transaction.set_rollback(True)
    except DatabaseError as error:
        if trouble_of(error) is Trouble.FULL:
            return SAYS[Trouble.FULL]
    return ""


def nearly_full() -> str:
    if connection.vendor != "sqlite":
        return ""
    free = shutil.disk_usage(Path(str(connection.settings_dict["NAME"])).absolute().parent).free // 1024**2
    return NEARLY_FULL.format(free) if free < LEAST_FREE else ""


seldom = Seldom()
