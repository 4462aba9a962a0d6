"""Which database a test run uses. Plain `pytest` runs three workers side by side, one on SQLite, one on a PostgreSQL of its own,
and one for what waits for programs more than it computes: the browser, and the programs of an installation. What the two engines
could answer otherwise runs on both (`ON_BOTH`); all else that touches the database runs on one of them, file by file in turn.
What touches none comes last: each file of it is done by the one of the two that comes to it first, so both end at about the same
time. `--engine sqlite` runs everything in one process, `--engine postgres` all that touches the database.

Loaded by `-p tests.engines` (pyproject.toml), because the choice must fall before the settings are read.
"""

import gc
import os
import re
import shutil
import sys
import tempfile
from collections import Counter
from pathlib import Path
from zlib import crc32

import pytest
from django.db import connection

from tests.postgres import Postgres

HERE = Path(__file__).parent
ENGINES = ("sqlite", "postgres")
TAKEN = "TESTS_TAKEN"  # in the environment of the workers: the folder with a mark for each file that one of them took
TOUCHING = {"db", "database_url", "empty_database_url", "module_database_url", "demo_url", "django_db_setup"}
WORKERS = (*ENGINES, "programs")
PROGRAMS = {"_alone", "_grown"}  # the installations whose tests start programs and wait for them
WAITING = ("browser", "service")  # the folders that the worker for programs looks through
# What runs on both when both run: statements of our own, constraints and triggers, what locks and waits, migrations, copies.
ON_BOTH = (
    "tests/concurrency/",
    "tests/vault/",
    "tests/audit/",
    "tests/shared/",
    "tests/checks/test_actions.py",
    "tests/checks/test_timeline.py::test_any_history",
    "tests/limits/test_in_force.py",
    "tests/notices/test_migrations.py",
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
    "tests/reminders/test_round_rows.py",
    "tests/reminders/test_status.py",
    "tests/sites/test_settings_migration.py",
    "tests/test_every_url.py::test_every_page_opens",
    "tests/test_rows_visited.py",
    "tests/test_written_once.py",
)
# Which of the two, where the turn would leave one waiting for the other.
ON_ONE = {
    "tests/advice/": "sqlite",
    "tests/checks/test_fitness.py": "sqlite",
    "tests/checks/test_shared_bath.py": "postgres",
    "tests/checks/test_tap_sequences.py": "sqlite",
    "tests/checks/test_timeline.py": "postgres",
    "tests/checks/test_unfinished.py": "sqlite",
    "tests/checks/test_zero_check.py": "postgres",
    "tests/notices/test_meanwhile.py": "postgres",
    "tests/overview/test_demo.py": "sqlite",
    "tests/overview/test_first_steps.py": "postgres",
    "tests/overview/test_start.py": "sqlite",
    "tests/quarantine/test_grounds.py": "sqlite",
    "tests/records/test_contents.py": "sqlite",
    "tests/test_every_url.py": "sqlite",
    "tests/test_names_of_their_time.py": "sqlite",
    "tests/test_typed_markup.py": "postgres",
}
# A walk that is the same with scripts and without is walked in one of the two ways, in turn by its name; these in both.
WAYS = ("with scripts", "without scripts")
BOTH_WAYS = (
    "test_a_whole_check",
    "test_three_probes_one_bath",
    "test_a_second_finish",
    "test_an_answer_can_be_changed",
)
FLUSHING = {"transactional_db", "live_server", "django_db_reset_sequences", "django_db_serialized_rollback"}
NO_FLUSH = (
    "{}: records are guarded by triggers, so the database cannot be flushed after a test that commits. Use the `db` "
    "fixture, `django_capture_on_commit_callbacks`, or `database_url`, which gives a database of its own."
)


class Run:
    """What this process knows of its run: its engine, and how many tests each worker ran or had no need to run."""

    worker: str | None = None  # its name, where several run side by side
    engine = "sqlite"
    postgres: Postgres | None = None
    data: str | None = None
    took: dict[Path, bool] = {}  # of files that touch no database: whether this worker came to it first
    ran: Counter = Counter()
    needless: Counter = Counter()


def pytest_addoption(parser):
    parser.addoption("--engine", choices=ENGINES, help="run on one database, in this process (the default runs both)")


@pytest.hookimpl(wrapper=True)
def pytest_load_initial_conftests(early_config):
    """Choose the database before pytest-django reads the settings."""
    worker = os.environ.get("PYTEST_XDIST_WORKER")
    Run.worker = worker if worker in WORKERS else None
    Run.engine = worker if worker in ENGINES else early_config.known_args_namespace.engine or "sqlite"
    Run.data = tempfile.mkdtemp(prefix="noughtbook-test-")
    # Programs that tests start read what was compiled for the first of them.
    sys.dont_write_bytecode = False
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    os.mkdir(f"{Run.data}/static")
    for name in [n for n in os.environ if n.startswith("NOUGHTBOOK_")]:
        del os.environ[name]
    os.environ |= {"NOUGHTBOOK_DATA": Run.data, "NOUGHTBOOK_SECRET_KEY": "only the tests sign with this key"}
    os.environ["DATABASE_URL"] = f"sqlite:///{Run.data}/noughtbook.sqlite3"
    if Run.engine == "postgres":
        Run.postgres = Postgres()
        os.environ["DATABASE_URL"] = Run.postgres.url("postgres")
    return (yield)


@pytest.hookimpl(tryfirst=True)
def pytest_cmdline_main(config):
    """Both engines, unless the command line names one, a number of workers, or the debugger."""
    if "PYTEST_XDIST_WORKER" in os.environ:  # a worker starts no workers
        return
    option = config.option
    one_only = option.engine or option.numprocesses is not None or option.usepdb or option.collectonly
    if not one_only and option.dist == "no":
        option.dist, option.tx = "each", [f"popen//id={worker}" for worker in WORKERS]
        os.mkdir(taken := f"{Run.data}/taken")
        os.environ[TAKEN] = taken
        option.maxworkerrestart = "0"  # a worker that dies ends the run: its successor would not have its engine


def pytest_ignore_collect(collection_path):
    """What another worker looks through; None leaves the choice to others."""
    folder = collection_path.name if collection_path.is_dir() and collection_path.parent == HERE else None
    if folder and (folder not in WAITING if Run.worker == "programs" else Run.worker and folder == "browser"):
        return True
    alone = collection_path.parent == HERE and collection_path.suffix == ".py"
    return True if alone and Run.worker == "programs" else None


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config, items):
    refused = [item.nodeid for item in items if commits(item)]
    if refused:
        raise pytest.UsageError(NO_FLUSH.format(", ".join(refused)))
    needless = [item for item in items if not runs_here(item)]
    config.hook.pytest_deselected(items=needless)
    items[:] = sorted((item for item in items if runs_here(item)), key=turn)
    Run.needless[Run.worker or Run.engine] = len(needless)


def pytest_collection_finish():
    """What was loaded stays loaded: not looking through it again and again takes a sixth of the time off a run."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 20, 50)


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_protocol(item, nextitem):
    """True for what the other worker has taken: nothing is run. What the test before left standing for it is torn down."""
    if not for_either(item) or takes(item.path):
        return None
    item.session._setupstate.teardown_exact(nextitem)
    Run.needless[Run.worker] += 1
    return True


def for_either(item) -> bool:
    """Whether the first of two workers that comes to it runs it. It must ask for no engine: the other may have its file."""
    return Run.worker in ENGINES and TAKEN in os.environ and not touches_database(item)


def turn(item) -> tuple:
    """What either may do comes last, file by file, the longest first: those that look through all of the source."""
    return (True, item.path.parent != HERE, str(item.path)) if for_either(item) else (False,)


def takes(path: Path) -> bool:
    if path not in Run.took:
        try:
            os.mkdir(f"{os.environ[TAKEN]}/{str(path.relative_to(HERE)).replace(os.sep, '-')}")
            Run.took[path] = True
        except FileExistsError:
            Run.took[path] = False
    return Run.took[path]


def runs_here(item) -> bool:
    waits = bool(PROGRAMS & set(item.fixturenames)) or item.nodeid.startswith("tests/browser/")
    if Run.worker and (waits or Run.worker == "programs"):
        return waits and Run.worker == "programs"
    if Run.worker and walked_otherwise(item):
        return False
    if for_either(item):
        return True
    if Run.worker and (only := only_engine(item)):
        return Run.engine == only
    return touches_database(item) or Run.engine == ("postgres" if Run.worker else "sqlite")


def only_engine(item) -> str | None:
    """The one engine on which it runs when both do; None where it runs on both, or touches no database."""
    if item.nodeid.startswith(ON_BOTH):
        return None
    listed = next((engine for path, engine in ON_ONE.items() if item.nodeid.startswith(path)), None)
    in_turn = ENGINES[crc32(item.path.name.encode()) % 2]
    return listed or (in_turn if touches_database(item) else None)


def walked_otherwise(item) -> bool:
    """Whether the same test runs in the other way instead."""
    name, _, parameters = item.name.partition("[")
    way = next((way for way in WAYS if way in re.split(r"[-\]]", parameters)), None)
    return way is not None and not name.startswith(BOTH_WAYS) and way != WAYS[crc32(name.encode()) % 2]


def commits(item) -> bool:
    marker = item.get_closest_marker("django_db")
    asked = marker and (marker.kwargs.get("transaction") or marker.kwargs.get("reset_sequences") or any(marker.args))
    return bool(asked) or bool(FLUSHING & set(item.fixturenames))


def touches_database(item) -> bool:
    return item.get_closest_marker("django_db") is not None or bool(TOUCHING & set(item.fixturenames))


def pytest_sessionfinish(session):
    if hasattr(session.config, "workeroutput"):
        session.config.workeroutput["needless"] = Run.needless[Run.worker or Run.engine]
        session.config.workeroutput["engine"] = connection.vendor


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node, error):
    """Counts for the closing words. Raises where a worker did not run on the engine that it is named for."""
    if error:  # which is told and ends the run anyway
        return
    said = getattr(node, "workeroutput", {"needless": 0, "engine": "none"})
    Run.needless[node.gateway.id] = said["needless"]
    if node.gateway.id in ENGINES and not said["engine"].startswith(node.gateway.id):
        raise RuntimeError(f"The worker for {node.gateway.id} ran on {said['engine']}.")


def pytest_runtest_logreport(report):
    if report.when == "call" or report.failed or report.skipped:
        node = getattr(report, "node", None)
        Run.ran[node.gateway.id if node else Run.engine] += 1


def pytest_terminal_summary(terminalreporter):
    for worker in WORKERS:
        if Run.ran[worker]:
            left = f" ({Run.needless[worker]} left to others or out)" if Run.needless[worker] else ""
            terminalreporter.write_line(f"{worker}: {Run.ran[worker]} tests{left}")


def pytest_unconfigure():
    if Run.postgres:
        Run.postgres.stop()
        Run.postgres = None
    if Run.data:
        shutil.rmtree(Run.data, ignore_errors=True)
