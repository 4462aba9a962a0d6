"""Fixtures that every test may ask for: the stock people, their world (tests/world.py) and the clock."""

import os
import sqlite3
import uuid
from contextlib import closing, contextmanager
from datetime import UTC, datetime

import pytest
import time_machine
from django.conf import settings
from django.core.management import call_command
from django.db import connection
from hypothesis import HealthCheck
from hypothesis import settings as hypothesis_settings

from shared.static_files import StaticFiles
from tests.engines import Run
from tests.remembered import remembered
from tests.world import World

NOON = datetime(2026, 3, 11, 12, 0, tzinfo=UTC)  # a Wednesday


# A busy machine is no fault of the code; in the continuous run the same examples come each time. `EXAMPLES=1000` in the
# environment looks harder; forty show all deliberate faults of tests/mutation.
hypothesis_settings.register_profile(
    "suite",
    deadline=None,
    max_examples=int(os.environ.get("EXAMPLES", "40")),
    suppress_health_check=[HealthCheck.too_slow],
    derandomize=bool(os.environ.get("CI")),
)
hypothesis_settings.load_profile("suite")


def pytest_configure():
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    StaticFiles.add_files_from_finders = looked_up_once(StaticFiles.add_files_from_finders)


def looked_up_once(look_up):
    """Each client of each test has middleware of its own; where the static files lie stays the same."""
    known: dict[str, dict] = {}

    def take_over(middleware):
        prefix = middleware.static_prefix
        if prefix not in known:
            look_up(middleware)
            known[prefix] = dict(middleware.files)
        middleware.files |= known[prefix]

    return take_over


@pytest.fixture(autouse=True, scope="session")
def unused():
    """Stands for what pytest-django makes anew for each of thousands of tests, and none here asks for: that would take as long
    as a tenth of them."""


_live_server_helper = _django_set_urlconf = _django_isolate_apps = unused
_template_string_if_invalid_marker = _django_clear_site_cache = unused


@pytest.fixture
def world(db):
    """One business with two areas and three sites, another business next door, and people of every role."""
    return remembered(World.build)


@pytest.fixture
def business(world):
    return world.business


@pytest.fixture
def area(world):
    return world.area


@pytest.fixture
def site(world):
    return world.site


@pytest.fixture
def other_site(world):
    """In the same area as `site`; the manager, the cook and the reader hold no role there."""
    return world.other_site


@pytest.fixture
def foreign_site(world):
    """A site of the other business."""
    return world.foreign_site


@pytest.fixture
def manager(world):
    """Site manager at `site` alone."""
    return world.manager


@pytest.fixture
def supervisor(world):
    """Supervisor of `area`, and so of `site` and `other_site`."""
    return world.supervisor


@pytest.fixture
def reader(world):
    return world.reader


@pytest.fixture
def cook(world):
    return world.cook


@pytest.fixture
def stranger(world):
    """Site manager at `foreign_site`, of another business."""
    return world.stranger


@pytest.fixture
def rival(world):
    """Supervisor of the area of `foreign_site`: holds every right, but not here."""
    return world.rival


@pytest.fixture
def limit(world):
    """Cold holding at `site`, at most 5 °C, in force since 2020."""
    return world.limit


@pytest.fixture
def probe(world):
    """P1, of `business`, at `site` since 2025, serving `limit`; never checked."""
    return world.probe


@pytest.fixture
def clock():
    """The time stands still at noon UTC on 11 March 2026 until a test moves it: `clock.move_to(...)`, `clock.shift(...)`."""
    with time_machine.travel(NOON, tick=False) as traveller:
        yield traveller


@pytest.fixture
def as_person(client):
    """Sign a person in: `as_person(manager).get(...)`."""

    def sign_in(person):
        client.force_login(person)
        return client

    return sign_in


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup, django_db_blocker, tmp_path_factory):
    """Gives the address of a copy of the tables that were made for the tests: making them takes longer than most tests."""
    with django_db_blocker.unblock():
        if not connection.introspection.table_names():  # pytest-django makes them for tests that are marked
            call_command("migrate", verbosity=0)
        connection.close()  # PostgreSQL copies nothing that anybody is connected to
    with own_database(tmp_path_factory.mktemp("tables"), connection.settings_dict["NAME"]) as url:
        yield url


@contextmanager
def own_database(folder, like=""):
    """The address of a database on the engine of this run; gone afterwards. Empty, or as the one of this name or address."""
    if Run.postgres is None:
        file = folder / "noughtbook.sqlite3"
        if like:
            copy(like.removeprefix("sqlite:///"), file)
        yield f"sqlite:///{file}"
        return
    name = f"own_{uuid.uuid4().hex}"
    yield Run.postgres.create(name, like.rpartition("/")[2])
    Run.postgres.drop(name)


def put_back(url: str, like: str) -> None:
    """Have a database hold what another does, also under a program that goes on: each of its pages connects anew.
    What the program holds in memory or in files stays, and a task that it has begun may still write."""
    if Run.postgres is None:
        return copy(like.removeprefix("sqlite:///"), url.removeprefix("sqlite:///"))
    Run.postgres.drop(name := url.rpartition("/")[2])
    Run.postgres.create(name, like.rpartition("/")[2])


def copy(old, new) -> None:
    with closing(sqlite3.connect(old, uri=True)) as source, closing(sqlite3.connect(new)) as copied:
        source.backup(copied)


@pytest.fixture
def empty_database_url(tmp_path):
    """The address of a database without tables on the engine of this run, for tests of making them."""
    (folder := tmp_path / "empty").mkdir()
    with own_database(folder) as url:
        yield url


@pytest.fixture
def database_url(tmp_path, django_db_setup):
    """The address of a database with all tables and nothing in them, on the engine of this run, for tests that start programs."""
    with own_database(tmp_path, django_db_setup) as url:
        yield url


@pytest.fixture(scope="module")
def module_database_url(tmp_path_factory, django_db_setup):
    """The same, shared by the tests of one file."""
    with own_database(tmp_path_factory.mktemp("database"), django_db_setup) as url:
        yield url
