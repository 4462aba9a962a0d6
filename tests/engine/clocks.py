"""Clocks of running programs that a test moves: the time of day alone, as when somebody sets the clock of a machine.

A program of ours reads its clock off a file (`moved/sitecustomize.py`), the database off a table. The broker's is left: Redis
goes by it only in what runs out, and when a task is given to another worker is worked out by the workers' clocks.
"""

import os
import shutil
import tempfile
from pathlib import Path

import psycopg

from tests.postgres import Postgres

SECOND = 10**9
HOUR = 3600  # seconds
TELLING = ("now", "statement_timestamp", "transaction_timestamp", "clock_timestamp")
MOVABLE = """
CREATE SCHEMA moved;
CREATE TABLE moved.clock AS SELECT interval '0' AS ahead;
ALTER DATABASE postgres SET search_path = public, moved, pg_catalog;
""" + "".join(
    f"CREATE FUNCTION moved.{name}() RETURNS timestamptz STABLE LANGUAGE sql "
    f"AS 'SELECT pg_catalog.{name}() + ahead FROM moved.clock';"
    for name in TELLING
)


class Clocks:
    """One for the workers, one for the other programs of ours, and one for the database, if it is a PostgreSQL; `close` removes
    their files."""

    def __init__(self, postgres: Postgres | None = None):
        self.folder = Path(tempfile.mkdtemp(prefix="noughtbook-clock-"))
        self.workers, self.programs = (Clock(self.folder / name) for name in ("workers", "programs"))
        self.database = DatabaseClock(postgres.url("postgres")) if postgres else None

    @property
    def all(self) -> "list[Clock | DatabaseClock]":
        return [*self.ours, *([self.database] if self.database else [])]

    @property
    def ours(self) -> "list[Clock]":
        return [self.workers, self.programs]

    def put_right(self) -> None:
        for clock in self.all:
            if clock.ahead:
                clock.set(0)

    def close(self) -> None:
        shutil.rmtree(self.folder, ignore_errors=True)


class Clock:
    def __init__(self, file: Path):
        self.file, self.ahead = file, 0
        file.write_bytes(bytes(8))

    @property
    def environment(self) -> dict[str, str]:
        """With which a program of ours is started whose clock this is to be."""
        path = [str(Path(__file__).with_name("moved")), *filter(None, [os.environ.get("PYTHONPATH")])]
        return {"PYTHONPATH": os.pathsep.join(path), "CLOCK_FILE": str(self.file)}

    def set(self, ahead: float) -> None:
        """So many seconds ahead of this machine's, at once, also for the programs that run; behind it, if negative."""
        self.ahead = ahead
        with self.file.open("r+b", buffering=0) as file:
            file.write(round(ahead * SECOND).to_bytes(8, "little", signed=True))


class DatabaseClock:
    """What a PostgreSQL answers to who asks for the time: its own functions are behind ours, which add what a table tells."""

    def __init__(self, url: str):
        self.url, self.ahead = url, 0
        self._run(MOVABLE)

    def set(self, ahead: float) -> None:
        """So many seconds ahead of this machine's, for every statement that begins from now on."""
        self.ahead = ahead
        self._run(f"UPDATE moved.clock SET ahead = interval '{ahead} seconds'")

    def _run(self, sql: str) -> None:
        with psycopg.connect(self.url, autocommit=True) as connection:
            connection.execute(sql)
