"""An installation of Noughtbook with all its programs, each of which may be killed at any time."""

import json
import os
import re
import signal
import sqlite3
import subprocess
import sys
import urllib.error
import urllib.request
from itertools import count
from pathlib import Path

import psycopg
from celery import Celery

from compliance.service.health import EACH_MINUTE
from tests.postgres import Postgres
from tests.service.post import PostOffice
from tests.service.programs import ROOT, Program, RedisServer, python, until

TEMPO = {
    "NOUGHTBOOK_SWEEP_EVERY": "1",
    "NOUGHTBOOK_REDELIVER_AFTER": "4",
    "NOUGHTBOOK_MAIL_TIMEOUT": "2",
    "NOUGHTBOOK_STATEMENT_TIMEOUT": "3",
}


class Installation:
    """Broker and mail server are started when they are asked for."""

    def __init__(self, folder: Path, database_url: str, postgres: Postgres | None = None):
        self.folder, self.database_url, self.postgres = folder, database_url, postgres
        self.programs: list[Program] = []
        self.numbers = count()
        self.redis: RedisServer | None = None
        self.post: PostOffice | None = None
        self.asking: psycopg.Connection | None = None

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
        return f"{self.database_url}?timeout=2" if self.database_url.startswith("sqlite") else self.database_url

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
        if self.redis:
            known["REDIS_URL"] = self.redis.url
        if self.post:
            known |= {"NOUGHTBOOK_MAIL_URL": self.post.url, "NOUGHTBOOK_MAIL_FROM": "book@kitchen.example"}
        return known

    def prepared(self, probes: int) -> "Installation":
        """Its tables brought up to date, with one business and so many probes. Raises AssertionError if that fails."""
        command = [sys.executable, "-m", "tests.service.preparing", str(probes)]
        done = subprocess.run(command, cwd=ROOT, env=self.environment, capture_output=True, text=True, timeout=300)
        assert done.returncode == 0, done.stderr
        return self

    def _started(self, name: str, *arguments, **settings: str) -> Program:
        log = self.folder / f"{name}-{next(self.numbers)}.log"
        self.programs.append(python(*arguments, log=log, environment=self.environment | settings))
        return self.programs[-1]

    def worker(self, **settings: str) -> Program:
        node = f"w{next(self.numbers)}@here"
        quick = ("--without-gossip", "--without-mingle", "--include", "tests.service.acts")
        command = ("-m", "celery", "-A", "compliance", "worker", "-c", "1", "-l", "INFO", "-n", node, *quick)
        return self._started("worker", *command, **settings)

    def writer(self, name: str) -> Program:
        """A program in the middle of writing a row of this name; stopped there, so that it ends when it goes on."""
        writer = self._started("writer", "-m", "tests.service.writing", self.file, name)
        writer.says("in the middle")
        writer.signal(signal.SIGSTOP)
        return writer

    def beat(self) -> Program:
        return self._started("beat", "-m", "celery", "-A", "compliance", "beat", "-l", "INFO")

    def start(self, **settings: str) -> Program:
        return self._started("start", "manage.py", "start", "--port", "0", **settings)

    def start_held_up(self, folder: Path) -> Program:
        """Where drawing drift and hashing take until there is a file (tests/service/few_places.py)."""
        return self._started("start", "-m", "tests.service.few_places", str(folder), "start", "--port", "0")

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
        """What the database holds, read past the program. PostgreSQL is asked in one connection until that breaks: it takes
        far longer to connect than to answer, and is asked hundreds of times."""
        if self.database_url.startswith("sqlite"):
            with sqlite3.connect(self.file, timeout=20) as connection:
                return connection.execute(sql).fetchall()
        try:
            return self._asked(sql)
        except psycopg.OperationalError:  # the server has crashed since
            self.asking.close()
            return self._asked(sql)

    def change(self, sql: str) -> list[tuple]:
        """Gives what the statement returns."""
        return self.rows(sql)

    def _asked(self, sql: str) -> list[tuple]:
        if not self.asking or self.asking.closed:
            self.asking = psycopg.connect(self.database_url, autocommit=True)
        cursor = self.asking.execute(sql)
        return cursor.fetchall() if cursor.description else []

    @property
    def file(self) -> str:
        """Of its SQLite."""
        return self.database_url.removeprefix("sqlite:///")

    def connected(self) -> psycopg.Connection:
        """To its PostgreSQL, past the program."""
        return psycopg.connect(self.database_url)

    def done(self, task: str) -> str:
        """When a task was last done, as the database writes it; empty if it never was."""
        found = self.rows(f"SELECT at FROM service_taskrun WHERE name = '{task}'")
        return str(found[0][0]) if found else ""

    def goes_on(self, *tasks: str) -> None:
        """Waits until these have been done again."""
        before = {task: self.done(task) for task in tasks or EACH_MINUTE}
        until(lambda: all(self.done(task) != at for task, at in before.items()), what=f"{before}; {self.last_words()}")

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

    def close(self) -> None:
        self.kill_programs()
        if self.redis:
            self.redis.kill()
        if self.post:
            self.post.shut()
