"""`manage.py` that notes each write transaction on SQLite, from when it has the lock until it is committed or taken back, as a
line of the file that TIMED_WRITES names: seconds by the clock, seconds of the processor that its thread took, and whose it is.
"""

import os
import sys
import time
from pathlib import Path
from threading import local
from typing import NamedTuple

from django.db.backends.sqlite3.base import DatabaseWrapper

import manage

ROOT = Path(manage.__file__).resolve().parent
NOTED = "TIMED_WRITES"
begun = local()


class Held(NamedTuple):
    seconds: float
    processor: float
    whose: str


def watch() -> None:
    begin = DatabaseWrapper._start_transaction_under_autocommit

    def began(self):
        begin(self)
        begun.at = time.monotonic(), time.thread_time(), _whose()

    DatabaseWrapper._start_transaction_under_autocommit = began
    for name in ("_commit", "_rollback"):
        setattr(DatabaseWrapper, name, _ending(getattr(DatabaseWrapper, name)))


def _ending(end):
    def ended(self):
        try:
            return end(self)
        finally:
            at, begun.at = getattr(begun, "at", None), None
            if at:
                _note(Held(time.monotonic() - at[0], time.thread_time() - at[1], at[2]))

    return ended


def _note(held: Held) -> None:
    with open(os.environ[NOTED], "a") as file:
        file.write(f"{held.seconds:.6f}\t{held.processor:.6f}\t{held.whose}\n")


def _whose() -> str:
    """The functions of ours that are under way, the inmost first; what holds for all of them is left out."""
    found, frame = [], sys._getframe(2)
    while frame and len(found) < 3:
        file = frame.f_code.co_filename
        if file.startswith((f"{ROOT}/compliance", f"{ROOT}/sites")):
            found.append(f"{file.removeprefix(f'{ROOT}/').removesuffix('.py')}:{frame.f_code.co_name}")
        frame = frame.f_back
    return " < ".join(found)


def noted(file: Path) -> list[Held]:
    lines = (line.split("\t") for line in file.read_text().splitlines()) if file.exists() else ()
    return [Held(float(seconds), float(processor), whose) for seconds, processor, whose in lines]


if __name__ == "__main__":
    watch()
    manage.main()
