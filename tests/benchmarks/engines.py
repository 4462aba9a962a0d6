"""Runs a benchmark on a fresh database of each engine, each in a process of its own. Machines differ: read the ratios."""

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from statistics import median

import django
from django.core.management import call_command
from django.db import connection

from tests.postgres import Postgres


def on_both_engines(module: str) -> None:
    """Have `run` of a module measure on a fresh database of SQLite, then of PostgreSQL."""
    with tempfile.TemporaryDirectory(prefix="noughtbook-bench-") as folder:
        _start(module, f"sqlite:///{folder}/bench.sqlite3", folder)
        postgres = Postgres()
        try:
            _start(module, postgres.create("bench"), folder)
        finally:
            postgres.stop()


def _start(module: str, database: str, folder: str) -> None:
    own = {"DATABASE_URL": database, "NOUGHTBOOK_DATA": folder, "DJANGO_SETTINGS_MODULE": "compliance.settings"}
    command = [sys.executable, "-m", "tests.benchmarks.engines", module, *sys.argv[1:]]
    subprocess.run(command, env=os.environ | own, check=True)


def _measure(module: str) -> None:
    django.setup()
    call_command("migrate", verbosity=0)
    import_module(module).run()


def seconds(act: Callable[[], object]) -> float:
    start = time.perf_counter()
    act()
    return time.perf_counter() - start


def processor_seconds(act: Callable[[], object]) -> float:
    """Of this process, and of the server process behind its connection."""
    before = time.process_time() + server_seconds()
    act()
    return time.process_time() + server_seconds() - before


def server_seconds() -> float:
    """Processor time of that server process until now; SQLite has none."""
    if connection.vendor == "sqlite":
        return 0
    connection.ensure_connection()
    return int(Path(f"/proc/{connection.connection.info.backend_pid}/schedstat").read_text().split()[0]) / 1e9


def know_sizes() -> None:
    """As a server learns them while it runs; SQLite has no statistics in use."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")


def compare(floors: list[float], ours: list[float], label: str, goal: float, engine: str) -> None:
    """Print the ratio of the medians beside its goal."""
    floor, own = median(floors), median(ours)
    verdict = "met" if own / floor <= goal else "NOT met"
    told = f"floor {floor:.2f} s, ours {own:.2f} s, ratio {own / floor:.2f} (goal ≤ {goal}: {verdict})"
    print(f"{engine:11} {label}: {told}", flush=True)


if __name__ == "__main__":
    _measure(sys.argv.pop(1))
