"""What keeps a database from doing what it is asked, told from the error: what passes by itself, or by somebody's clearing up."""

import sqlite3
from enum import Enum

from django.db import DatabaseError, InterfaceError, OperationalError


class Trouble(Enum):
    """With a heading, and with whether it is certain that the transaction in hand came to nothing."""

    FULL = "The disk is full", True
    READ_ONLY = "The records can be read but not written", True
    BUSY = "The records are being written by another", True
    AWAY = "The records cannot be reached just now", False

    def __init__(self, heading: str, undone: bool):
        self.heading, self.undone = heading, undone


# sqlite.org/rescode.html. What a quota or a limit to the size of files refuses is a failed write to SQLite, not a full disk.
OF_SQLITE_AT_LENGTH = {sqlite3.SQLITE_IOERR_WRITE: Trouble.FULL, sqlite3.SQLITE_IOERR_SHMSIZE: Trouble.FULL}
OF_SQLITE = {
    sqlite3.SQLITE_FULL: Trouble.FULL,
    sqlite3.SQLITE_READONLY: Trouble.READ_ONLY,
    sqlite3.SQLITE_PERM: Trouble.READ_ONLY,
    sqlite3.SQLITE_BUSY: Trouble.BUSY,
    sqlite3.SQLITE_LOCKED: Trouble.BUSY,
    sqlite3.SQLITE_IOERR: Trouble.AWAY,
    sqlite3.SQLITE_CANTOPEN: Trouble.AWAY,
}
# SQLSTATE, whole or its class: PostgreSQL's manual, appendix A. The first that fits counts.
OF_POSTGRESQL = {
    "53100": Trouble.FULL,
    "25006": Trouble.READ_ONLY,
    "42501": Trouble.READ_ONLY,  # the role lacks the right
    "57014": Trouble.BUSY,  # cancelled, since it took too long
    "25P03": Trouble.AWAY,  # put out, since nothing came of it for too long
    "40": Trouble.BUSY,
    "55": Trouble.BUSY,
    "08": Trouble.AWAY,
    "53": Trouble.AWAY,
    "57": Trouble.AWAY,
}


def trouble_of(error: BaseException | None) -> Trouble | None:
    """None where the database is well and was asked for what it does not have, or was not asked at all."""
    if not isinstance(error, DatabaseError | InterfaceError):
        return None
    cause = error.__cause__
    if isinstance(cause, sqlite3.Error):
        code = getattr(cause, "sqlite_errorcode", 0)
        return OF_SQLITE_AT_LENGTH.get(code) or OF_SQLITE.get(code & 0xFF)
    state = getattr(cause, "sqlstate", None)
    if state is None:  # the connection is lost, or none was to be had
        return Trouble.AWAY if isinstance(error, OperationalError | InterfaceError) else None
    return next((trouble for start, trouble in OF_POSTGRESQL.items() if state.startswith(start)), None)
