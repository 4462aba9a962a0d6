"""Which tests run on PostgreSQL too, or on PostgreSQL alone, where both engines run.

    python -m tests.statements

runs all that touches a database on SQLite, keeps which statements each test makes, and writes down (on_postgres.txt) few and
quick tests that together make nearly every one of them. Worth doing again when many tests or statements are new.
"""

import json
import os
import re
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from django.db.backends.signals import connection_created

# What runs on both when both run: statements of our own, constraints and triggers, what locks and waits, migrations, copies.
ON_BOTH = (
    "tests/concurrency/",
    "tests/vault/",
    "tests/audit/test_chain.py",
    "tests/audit/test_trail.py",
    "tests/audit/test_verifying.py",
    "tests/shared/",
    "tests/checks/test_actions.py",
    "tests/checks/test_timeline.py::test_any_history",
    "tests/limits/test_in_force.py",
    "tests/notices/test_migrations.py",
    "tests/notices/test_minute.py",
    "tests/notices/test_senders.py",
    "tests/overview/test_start.py::test_two_that_are_started_at_once",
    "tests/plans/test_in_force.py",
    "tests/plans/test_migrations.py",
    "tests/quarantine/test_actions.py",
    "tests/reviews/test_days.py",
    "tests/quarantine/test_assessing.py",
    "tests/readings/test_import_properties.py",
    "tests/readings/test_newest_by_site.py",
    "tests/readings/test_record.py",
    "tests/records/test_generated.py",
    "tests/checks/test_timeline.py::test_standing_is_one_look_up",
    "tests/reminders/test_round_rows.py",
    "tests/reminders/test_rounds_that_change.py::test_who_makes_due_times",
    "tests/reminders/test_status.py",
    "tests/reminders/test_what_changes_what.py::test_only_what_became_late",
    "tests/sites/test_settings_migration.py",
    "tests/test_every_page.py",
    "tests/test_written_once.py",
)
CHOSEN = Path(__file__).parent / "on_postgres.txt"
KEPT = "TESTS_STATEMENTS"  # in the environment of the workers: the folder in which each keeps what its tests asked
# What runs on PostgreSQL alone, but where it is to be found out which tests those should be.
ON_POSTGRES = frozenset() if KEPT in os.environ else frozenset(CHOSEN.read_text().split())
ENOUGH = 0.95  # of all statements; what is left is made by long walks, each a few of its own
START = 0.05  # seconds that any test costs
OF_TRANSACTIONS = ("SAVEPOINT", "RELEASE", "ROLLBACK", "BEGIN", "PRAGMA", "EXPLAIN")
# The same statement with other numbers, as many parameters as there are keys, rows or savepoints.
SAME = (
    (re.compile(r"\d+"), "0"),
    (re.compile(r"\((?:%s, ?)+%s\)"), "(%s)"),
    (re.compile(r"(\([^()]*\))(?:, ?\1)+"), r"\1"),
)


@dataclass(eq=False)
class Asked:
    """The statements and the processor time of each test, its parameters taken together."""

    statements: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))
    seconds: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    now: str = ""
    shapes: dict[str, str] = field(default_factory=dict)

    def __call__(self, execute, sql, params, many, context):
        said = str(sql)  # of PostgreSQL's own parts it may be put together
        if self.now and not said.startswith(OF_TRANSACTIONS):
            self.statements[self.now].add(self.shapes.get(said) or self.shapes.setdefault(said, shape(said)))
        return execute(sql, params, many, context)

    def __post_init__(self):
        connection_created.connect(self.watch)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item, nextitem):
        of_one_engine = item.get_closest_marker("engine")
        self.now, begun = "" if of_one_engine else item.nodeid.partition("[")[0], time.process_time()
        try:
            return (yield)
        finally:
            self.seconds[self.now] += time.process_time() - begun
            self.now = ""

    def pytest_sessionfinish(self):
        found = {"statements": {test: sorted(made) for test, made in self.statements.items()}, "seconds": self.seconds}
        (Path(os.environ[KEPT]) / f"{os.getpid()}.json").write_text(json.dumps(found))

    def watch(self, connection, **given) -> None:
        connection.execute_wrappers.append(self)


def shape(sql: str) -> str:
    for pattern, same in SAME:
        sql = pattern.sub(same, sql)
    return sql


def choose(asked: Asked) -> list[str]:
    """The tests that add most for their time, until nearly all is asked."""
    made = {test: found for test, found in asked.statements.items() if not test.startswith(ON_BOTH)}
    every = set().union(*asked.statements.values())
    left = every.difference(*(found for test, found in asked.statements.items() if test.startswith(ON_BOTH)))
    chosen: list[str] = []
    while len(left) > (1 - ENOUGH) * len(every):
        chosen.append(max(made, key=lambda test: len(made[test] & left) / (asked.seconds[test] + START)))
        left -= made.pop(chosen[-1])
    print(f"{len(every)} statements; {len(chosen)} tests of {sum(asked.seconds[test] for test in chosen):.0f} s chosen")
    return sorted(chosen)


def run() -> None:
    asked = Asked()
    with tempfile.TemporaryDirectory() as folder:
        environment = os.environ | {KEPT: folder, "CI": "1"}
        subprocess.run([sys.executable, "-m", "pytest", "-q"], env=environment)  # a test that fails has asked, too
        for path in Path(folder).glob("*.json"):
            found = json.loads(path.read_text())
            for test, statements in found["statements"].items():
                asked.statements[test].update(statements)
            for test, seconds in found["seconds"].items():
                asked.seconds[test] += seconds
    CHOSEN.write_text("".join(f"{test}\n" for test in choose(asked)))


if __name__ == "__main__":
    run()
