"""Copying an SQLite database as SQLite itself does it, whoever writes to it meanwhile and however much of it is in its -wal."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

from django.core.management.base import CommandError
from django.db import connection

from shared.private import private_file

from .archive import Damaged
from .beside import beside
from .contents import Contents, contents_of

KIND, KEPT_AS = "SQLite", "{}"
IN_USE = """{} is in use by another program. Nothing was changed.
Stop “manage.py start” and every other program that works with it, and try again."""
PATIENCE = 5  # seconds


@contextmanager
def one_moment() -> Iterator[None]:
    """What is read and copied in the block is the database of one moment, and others go on writing."""
    with connection.cursor() as cursor:
        cursor.execute("BEGIN")  # by hand, for Django's would keep others from writing
        cursor.execute("SELECT count(*) FROM sqlite_master")
        try:
            yield
        finally:
            cursor.execute("ROLLBACK")


def copy_to(copy: Path) -> None:
    """Inside `one_moment`. The copy is one file, with no -wal beside it."""
    private_file(copy)
    with closing(sqlite3.connect(copy)) as there:
        connection.connection.backup(there)
        there.execute("PRAGMA journal_mode = DELETE")


def contents_of_copy(copy: Path, models: list) -> Contents:
    """Read back from it. Raises Damaged."""
    try:
        with closing(sqlite3.connect(copy)) as there:
            found = [words for (words,) in there.execute("PRAGMA integrity_check(5)")]
    except sqlite3.DatabaseError as error:
        found = [str(error)]
    if found != ["ok"]:
        raise Damaged("SQLite says: " + "; ".join(found))
    with beside({"ENGINE": "django.db.backends.sqlite3", "NAME": str(copy)}) as alias:
        return contents_of(alias, models)


def stop_if_not_allowed() -> None:
    """Whoever may write the file may restore it."""


@contextmanager
def replaced_by(copy: Path, before: str) -> Iterator[str]:
    """In the block the copy is in place of the database; where the block fails, what was there before is back.

    Gives where that is kept. A copy page by page in one transaction of SQLite's: a program that has the file open finds the
    one or the other, as it would not if the file were exchanged under it.
    """
    live = Path(connection.settings_dict["NAME"])
    kept = live.with_name(f"{live.name}-{before}")
    connection.close()
    for file in (live, kept):
        private_file(file)
    try:
        _exchange(live, kept, copy)
        yield str(kept)
    except BaseException:
        connection.close()
        _put_back(kept, live)
        raise


def forget(kept: str) -> None:
    _remove(Path(kept))


def _exchange(live: Path, kept: Path, copy: Path) -> None:
    """A file that is no database any more is put aside as it is."""
    try:
        with _alone_with(live) as here, closing(sqlite3.connect(kept)) as there:
            here.backup(there)
            _overwrite(here, copy)
    except sqlite3.DatabaseError:
        _rename(live, kept)
        private_file(live)
        with _alone_with(live) as here:
            _overwrite(here, copy)


def _overwrite(here: sqlite3.Connection, copy: Path) -> None:
    with closing(sqlite3.connect(copy)) as new:
        new.backup(here)


def _put_back(kept: Path, live: Path) -> None:
    try:
        with _alone_with(live) as here:
            _overwrite(here, kept)
        _remove(kept)
    except sqlite3.DatabaseError:
        _rename(kept, live)


def _rename(file: Path, to: Path) -> None:
    for end in ("-wal", "-shm", ""):
        with suppress(FileNotFoundError):
            file.with_name(file.name + end).rename(to.with_name(to.name + end))


def _remove(file: Path) -> None:
    for end in ("", "-wal", "-shm"):
        file.with_name(file.name + end).unlink(missing_ok=True)


@contextmanager
def _alone_with(file: Path) -> Iterator[sqlite3.Connection]:
    """No other program has it open in the block, and nothing of it is left in a -wal. Raises CommandError where one has."""
    with closing(sqlite3.connect(file, timeout=PATIENCE, isolation_level=None)) as connected:
        try:
            connected.execute("PRAGMA locking_mode = EXCLUSIVE")
            connected.execute("PRAGMA journal_mode = DELETE")
            connected.execute("BEGIN EXCLUSIVE")
            connected.execute("COMMIT")
        except sqlite3.OperationalError as refused:
            if refused.sqlite_errorcode & 0xFF not in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
                raise
            raise CommandError(IN_USE.format(file)) from None
        yield connected
