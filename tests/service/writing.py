"""Begins to write a row, says so, and ends when the file `go-on-<name>` is there: `python -m tests.service.writing FILE slow`.
What others meet is the lock of SQLite, whoever holds it."""

import sqlite3
import sys
import time
from contextlib import closing
from pathlib import Path


def main(file: Path, name: str) -> None:
    with closing(sqlite3.connect(file)) as connection, connection:
        connection.execute("INSERT INTO service_taskrun (name, at) VALUES (?, datetime('now'))", [name])
        print("in the middle", flush=True)
        while not (file.parent / f"go-on-{name}").exists():
            time.sleep(0.1)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2])
