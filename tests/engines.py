"""Which database a test run uses. Plain `pytest` runs three workers side by side: one on SQLite, one on a PostgreSQL of its own,
and one, on SQLite too, that begins with what waits for programs more than it computes: the browser, and the programs of an
installation. What the two engines could answer otherwise runs on both, some tests on PostgreSQL alone (tests/statements.py says
which), all else that touches a database on SQLite. What several workers may do is in a queue: each file is done by the one that
comes to it first, so that all end at about the same time. `--engine sqlite` runs everything in one process, `--engine postgres`
all that touches the database.

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
from _pytest.runner import runtestprotocol
from django.db import connection

from tests.postgres import Postgres
from tests.statements import KEPT, ON_BOTH, ON_POSTGRES, Asked

HERE = Path(__file__).parent
ENGINES = ("sqlite", "postgres")
TAKEN = "TESTS_TAKEN"  # in the environment of the workers: the folder with a mark for each file of a queue that one of them took
TOUCHING = {"db", "database_url", "empty_database_url", "module_database_url", "demo_url", "django_db_setup"}
WORKERS = (*ENGINES, "programs")
LONG = (HERE, HERE / "vault")  # folders of files that take long
ALONE = {"browser": "programs", "metrology": "postgres", "studies": "postgres"}  # folders that one worker loads
PROGRAMS = {"_alone", "_grown"}  # the installations whose tests start programs and wait for them
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
    took: dict[tuple[str, Path], bool] = {}  # of the files of each queue: whether this worker came to it first
    ran: Counter = Counter()
    needless: Counter = Counter()


def pytest_addoption(parser):
    parser.addoption("--engine", choices=ENGINES, help="run on one database, in this process (the default runs both)")


def pytest_configure(config):
    config.addinivalue_line("markers", "engine(name): what only this engine can answer")
    if KEPT in os.environ:
        config.pluginmanager.register(Asked())


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
    """What another worker does alone, and so need not be loaded here; None leaves the choice to others."""
    return True if Run.worker and of_folder(collection_path) not in (None, Run.worker) else None


def pytest_collect_directory(path, parent):
    return FromAThird.from_parent(parent, path=path) if Run.worker and path == HERE else None


class FromAThird(pytest.Package):
    """Each worker begins elsewhere, so that in a new clone it finds two thirds of the tests compiled by the others."""

    def collect(self):
        found = list(super().collect())
        first = len(found) * WORKERS.index(Run.worker) // len(WORKERS)
        return found[first:] + found[:first]


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
    """True for what another worker has taken: nothing is run. What the test before left standing for it is torn down."""
    if (queue := queue_of(item)) is None or takes(queue, item.path):
        return briefly(item, nextitem) if Run.worker else None
    item.session._setupstate.teardown_exact(nextitem)
    Run.needless[Run.worker] += 1
    return True


def briefly(item, nextitem) -> bool:
    """Runs it and says how it went, and of preparing and ending it what failed: each word costs as much as a small test."""
    for report in runtestprotocol(item, nextitem=nextitem, log=False):
        if report.when == "call" or not report.passed:
            item.ihook.pytest_runtest_logreport(report=report)
    return True


def queue_of(item) -> str | None:
    """`any` worker that comes to its file runs it, or one of those on SQLite; None where it is this worker's alone."""
    if TAKEN not in os.environ or not Run.worker or alone(item):
        return None
    if not touches_database(item) and not only(item):
        return "any"
    return "sqlite" if Run.engine == "sqlite" else None


def turn(item) -> tuple:
    """This worker's own first, then file by file, the longest first: those that walk through all of the source or the pages, and
    those that wait for programs."""
    queue = queue_of(item)
    return (
        (2 if queue == "any" else 1, item.path.parent not in LONG, str(item.path))
        if queue
        else (0, False, str(item.path))
    )


def takes(queue: str, path: Path) -> bool:
    key = queue, path
    if key not in Run.took:
        try:
            os.mkdir(f"{os.environ[TAKEN]}/{queue}-{str(path.relative_to(HERE)).replace(os.sep, '-')}")
            Run.took[key] = True
        except FileExistsError:
            Run.took[key] = False
    return Run.took[key]


def runs_here(item) -> bool:
    if not Run.worker:
        return Run.engine == only(item) if only(item) else touches_database(item) or Run.engine == "sqlite"
    if worker := alone(item):
        return Run.worker == worker
    return not walked_otherwise(item) and Run.engine in engines_of(item)


def alone(item) -> str | None:
    """The worker that alone may run it: what waits for programs, and what one worker loads."""
    return "programs" if PROGRAMS & set(item.fixturenames) else of_folder(item.path)


def of_folder(path: Path) -> str | None:
    return ALONE.get(path.relative_to(HERE).parts[0]) if HERE in path.parents else None


def engines_of(item) -> tuple[str, ...]:
    """Where it runs; it asks for none where it touches no database, and may then be done on either."""
    if engine := only(item):
        return (engine,)
    if item.nodeid.startswith(ON_BOTH) or not touches_database(item):
        return ENGINES
    return ("postgres",) if item.nodeid.partition("[")[0] in ON_POSTGRES else ("sqlite",)


def only(item) -> str | None:
    marker = item.get_closest_marker("engine")
    return marker.args[0] if marker else None


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
