"""An installation of Noughtbook with all its programs, each of which may be killed at any time."""

import json
import os
import re
import signal
import sqlite3
import subprocess
import sys
import time
import urllib.error
import urllib.request
from contextlib import closing
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from itertools import count
from pathlib import Path

import psycopg
from celery import Celery

from tests.engine.clocks import Clock, Clocks
from tests.engine.network import Network
from tests.engine.post import PostOffice
from tests.engine.programs import ROOT, Program, RedisServer, python, until
from tests.postgres import Postgres

TEMPO = {"NOUGHTBOOK_SWEEP_EVERY": "0.5", "NOUGHTBOOK_REDELIVER_AFTER": "4", "NOUGHTBOOK_MAIL_TIMEOUT": "2"}


class Installation:
    """Its database is brought up to date at once; broker and mail server are started when they are asked for."""

    def __init__(self, folder: Path, database_url: str, postgres: Postgres | None = None, clocks: Clocks | None = None):
        self.folder, self.database_url, self.postgres, self.clocks = folder, database_url, postgres, clocks
        self.programs: list[Program] = []
        self.network = Network(postgres.socket) if postgres else None
        self.numbers = count()
        self.redis: RedisServer | None = None
        self.post: PostOffice | None = None
        self.manage("migrate", "--verbosity", "0")

    def with_redis(self) -> "Installation":
        """Programs started from now on work through a broker, which is running and empty."""
        self.redis = self.redis or RedisServer(self.folder)
        self.redis.kill()
        self.redis.start()
        return self

    def with_post(self) -> "Installation":
        self.post = self.post or PostOffice()
        return self

    @property
    def reached_by(self) -> str:
        """The address of the database for the programs; how long they wait for a writer to end is cut short."""
        if self.network:
            return f"postgresql://postgres@127.0.0.1:{self.network.port}/postgres"
        return f"{self.database_url}?timeout=3" if self.database_url.startswith("sqlite") else self.database_url

    @property
    def environment(self) -> dict[str, str]:
        unset = {"REDIS_URL", "NOUGHTBOOK_MAIL_URL"}
        known = {name: value for name, value in os.environ.items() if name not in unset}
        known |= TEMPO | {
            "DATABASE_URL": self.reached_by,
            "NOUGHTBOOK_DATA": str(self.folder),
            "NOUGHTBOOK_LOG": "INFO",
        }
        known["DJANGO_SETTINGS_MODULE"] = "compliance.settings"
        if self.clocks:
            known |= self.clocks.programs.environment
        if self.redis:
            known["REDIS_URL"] = self.redis.url
        if self.post:
            known |= {"NOUGHTBOOK_MAIL_URL": self.post.url, "NOUGHTBOOK_MAIL_FROM": "book@kitchen.example"}
        return known

    def manage(self, *arguments) -> str:
        return self.run("manage.py", *arguments)

    def run(self, *arguments) -> str:
        """A program of Python's that ends; gives what it printed. Raises AssertionError if it fails."""
        done = subprocess.run(
            [sys.executable, *arguments], cwd=ROOT, env=self.environment, capture_output=True, text=True, timeout=300
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def _started(self, name: str, *arguments, clock: Clock | None = None, **settings: str) -> Program:
        log = self.folder / f"{name}-{next(self.numbers)}.log"
        environment = self.environment | (clock.environment if clock else {}) | settings
        self.programs.append(python(*arguments, log=log, environment=environment))
        return self.programs[-1]

    def worker(self, **settings: str) -> Program:
        node = f"w{next(self.numbers)}@here"
        quick = ("--without-gossip", "--without-mingle", "--include", "tests.engine.acts")
        command = ("-m", "celery", "-A", "compliance", "worker", "-c", "1", "-l", "INFO", "-n", node, *quick)
        return self._started("worker", *command, clock=self.clocks and self.clocks.workers, **settings)

    def writer(self, name: str) -> Program:
        """A program in the middle of writing a heartbeat of this name; stopped there, so that it ends when it goes on."""
        writer = self._started("writer", "-m", "tests.engine.writing", name)
        writer.says("in the middle")
        writer.signal(signal.SIGSTOP)
        return writer

    def beat(self) -> Program:
        return self._started("beat", "-m", "celery", "-A", "compliance", "beat", "-l", "INFO")

    def start(self) -> Program:
        return self._started("start", "manage.py", "start", "--port", "0")

    def start_held_up(self, folder: Path) -> Program:
        """Where drawing drift and hashing take until there is a file (tests/engine/few_places.py)."""
        return self._started("start", "-m", "tests.engine.few_places", str(folder), "start", "--port", "0")

    def address(self, start: Program) -> str:
        """Where a start command serves, once it does."""
        return until(lambda: re.search(r"http://127\.0\.0\.1:\d+/", start.said()), what=start.said())[0]

    def health(self, start: Program) -> tuple[int, dict]:
        """The status and the parts by name. Raises OSError where the page does not come soon."""
        status, said = self.page(start, "health/?format=json", seconds=10)
        return status, json.loads(said)["parts"]

    def page(self, start: Program, path: str, seconds: float = 60) -> tuple[int, str]:
        """The status and what the page says."""
        try:
            with urllib.request.urlopen(self.address(start) + path, timeout=seconds) as answer:
                return answer.status, answer.read().decode()
        except urllib.error.HTTPError as unwell:
            return unwell.code, unwell.read().decode()

    def send(self, task: str, *arguments) -> None:
        Celery(broker=self.redis.url).send_task(task, args=arguments)

    def rows(self, sql: str) -> list[tuple]:
        """What the database holds, read past the program."""
        if self.database_url.startswith("sqlite"):
            with sqlite3.connect(self.database_url.removeprefix("sqlite:///"), timeout=20) as connection:
                return connection.execute(sql).fetchall()
        with psycopg.connect(self.database_url) as connection:
            return connection.execute(sql).fetchall()

    def change(self, sql: str) -> list[tuple]:
        """Gives what the statement returns."""
        if self.database_url.startswith("sqlite"):
            with sqlite3.connect(self.database_url.removeprefix("sqlite:///"), timeout=20) as connection:
                return connection.execute(sql).fetchall()
        with psycopg.connect(self.database_url) as connection:
            cursor = connection.execute(sql)
            return cursor.fetchall() if cursor.description else []

    def beaten(self, name: str) -> str:
        """When a part last told that it is well, as the database writes it; empty if it never did."""
        found = self.rows(f"SELECT at FROM reminders_heartbeat WHERE name = '{name}'")
        return str(found[0][0]) if found else ""

    def beats_again(self, name: str) -> None:
        before = self.beaten(name)
        until(lambda: self.beaten(name) != before, what=f"{name} after {before}; {self.last_words()}")

    def ahead(self, start: Program) -> dict[str, float]:
        """By how many seconds the clock of each program is ahead of this machine's, told by the program itself."""
        here = datetime.now(UTC)
        with urllib.request.urlopen(f"{self.address(start)}sign-in/", timeout=10) as answer:
            told = {"web": parsedate_to_datetime(answer.headers["Date"])}
        [[told["database"]]] = self.rows("SELECT now()")
        for name, clock in self.rows(
            "SELECT name, said ->> 'clock' FROM reminders_heartbeat WHERE said ->> 'clock' <> ''"
        ):
            told[name] = datetime.fromisoformat(clock)
        return {name: (at - here).total_seconds() for name, at in told.items()}

    def freeze(self, program: Program) -> None:
        """Stop it as it is, but not in the middle of a write: SQLite would then let nobody write until it wakes."""
        until(lambda: self._frozen(program), what="a moment at which it writes nothing")

    def _frozen(self, program: Program) -> bool:
        program.signal(signal.SIGSTOP)
        try:
            with closing(self._to_sqlite(timeout=0.2)) as connection:
                connection.execute("BEGIN IMMEDIATE")
        except sqlite3.OperationalError:
            program.signal(signal.SIGCONT)
            time.sleep(0.05)
            return False
        return True

    def _to_sqlite(self, timeout: float) -> sqlite3.Connection:
        return sqlite3.connect(self.database_url.removeprefix("sqlite:///"), timeout=timeout, isolation_level=None)

    def last_words(self) -> str:
        return "\n".join(f"== {program.log.name}\n{program.said()[-1500:]}" for program in self.programs)

    def kill_programs(self) -> None:
        for program in self.programs:
            program.kill()
        self.programs.clear()

    def put_right(self) -> None:
        """As it was before a test."""
        self.kill_programs()
        if self.postgres:
            self.postgres.thaw()
            self.network.carry()
        self.clocks.put_right()

    def close(self) -> None:
        self.kill_programs()
        if self.redis:
            self.redis.kill()
        if self.post:
            self.post.shut()
        if self.network:
            self.network.shut()
        if self.clocks:
            self.clocks.close()
