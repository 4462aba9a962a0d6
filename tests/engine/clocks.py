"""Clocks of running programs that a test moves, each for the programs that were started with its environment.

The time of day alone is moved, as when somebody sets the clock of a machine; spans are measured as before. The library that
does it is made from `moved_clock.c`, because those that can be had fake spans too, or break the sleep of some Python.
"""

import shutil
import subprocess
import tempfile
from pathlib import Path

SOURCE = Path(__file__).with_name("moved_clock.c")
SECOND = 10**9
HOUR = 3600  # seconds


class Clocks:
    """One for the workers, one for the other programs of ours, one for the database and one for the broker; `close` removes
    their files."""

    def __init__(self):
        self.folder = Path(tempfile.mkdtemp(prefix="noughtbook-clock-"))
        self.folder.chmod(0o755)  # the database runs as another user
        library = compiled(self.folder)
        names = ("workers", "programs", "database", "broker")
        self.workers, self.programs, self.database, self.broker = (Clock(self.folder / name, library) for name in names)

    @property
    def all(self) -> "list[Clock]":
        return [*self.ours, self.database, self.broker]

    @property
    def ours(self) -> "list[Clock]":
        return [self.workers, self.programs]

    def put_right(self) -> None:
        for clock in self.all:
            clock.set(0)

    def close(self) -> None:
        shutil.rmtree(self.folder, ignore_errors=True)


class Clock:
    def __init__(self, file: Path, library: Path):
        self.file, self.library, self.ahead = file, library, 0
        file.write_bytes(bytes(8))
        file.chmod(0o644)

    @property
    def environment(self) -> dict[str, str]:
        """With which a program is started whose clock this is to be."""
        return {"LD_PRELOAD": str(self.library), "CLOCK_FILE": str(self.file)}

    def set(self, ahead: float) -> None:
        """So many seconds ahead of this machine's, at once, also for the programs that run; behind it, if negative."""
        self.ahead = ahead
        with self.file.open("r+b", buffering=0) as file:
            file.write(round(ahead * SECOND).to_bytes(8, "little", signed=True))


def compiled(folder: Path) -> Path:
    compiler = shutil.which("cc") or shutil.which("gcc")
    assert compiler, "The engine tests move clocks and need a C compiler: apt-get install gcc libc6-dev"
    library = folder / "moved_clock.so"
    done = subprocess.run([compiler, "-shared", "-fPIC", "-O1", "-o", library, SOURCE], capture_output=True, text=True)
    assert done.returncode == 0, f"The engine tests need a C compiler: apt-get install gcc libc6-dev\n{done.stderr}"
    library.chmod(0o755)
    return library
