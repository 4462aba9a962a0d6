"""Making the tables of a fresh database by the squashed migrations, beside those that they stand for one by one; and whether both
leave the same tables, to each column, constraint, index, trigger and function. Ends with 1 where they do not.

python -m tests.benchmarks.bench_migrate
"""

import json
import os
import subprocess
import sys
import tempfile

from tests.benchmarks.engines import compare
from tests.postgres import Postgres

ROUTES, GOAL = ("each", "squashed"), 0.25


def measured(route: str, database: str) -> dict:
    with tempfile.TemporaryDirectory(prefix="noughtbook-bench-") as folder:
        own = {"DATABASE_URL": database or f"sqlite:///{folder}/bench.sqlite3", "NOUGHTBOOK_DATA": folder}
        own["DJANGO_SETTINGS_MODULE"] = "compliance.settings"
        command = [sys.executable, "-m", "tests.benchmarks.measure_migrate", route]
        return json.loads(subprocess.run(command, env=os.environ | own, check=True, stdout=subprocess.PIPE).stdout)


def beside(engine: str, databases: list[str]) -> bool:
    """Print what is in one of the two only."""
    each, squashed = map(measured, ROUTES, databases)
    compare([each["seconds"]], [squashed["seconds"]], "all tables", GOAL, engine)
    one, other = ({json.dumps(row) for row in told["schema"]} for told in (each, squashed))
    for row in sorted(one ^ other):
        print("  only one by one: " if row in one else "  only squashed:   ", row)
    print(
        f"{engine:11} {len(other)} columns, constraints, indexes, triggers and functions, {len(one ^ other)} not the same"
    )
    return one == other


if __name__ == "__main__":
    same = beside("SQLite", ["", ""])
    postgres = Postgres()
    try:
        same &= beside("PostgreSQL", [postgres.create(route) for route in ROUTES])
    finally:
        postgres.stop()
    sys.exit(not same)
