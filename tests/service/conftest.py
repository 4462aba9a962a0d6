"""Two installations for all tests of this folder, for making their tables takes longer than most of them: a grown one on a
PostgreSQL that may be crashed, and one on a file. They are the same whatever engine the run is on, so each test runs once.
"""

import pytest

from tests.conftest import copy
from tests.engines import Run
from tests.postgres import DURABLE, Postgres
from tests.service.installation import Installation


@pytest.fixture(scope="session")
def _grown(tmp_path_factory):
    postgres = Postgres(DURABLE)
    installation = Installation(tmp_path_factory.mktemp("grown"), postgres.url("postgres"), postgres)
    yield installation.prepared(probes=12)
    installation.close()
    postgres.stop()


@pytest.fixture(scope="session")
def _alone(tmp_path_factory, request):
    folder = tmp_path_factory.mktemp("alone")
    url = sqlite_with_tables(request, folder)
    installation = Installation(folder, url)
    yield installation.prepared(probes=1)
    installation.close()


def sqlite_with_tables(request, folder) -> str:
    """The address of a file of SQLite in this folder. Asks for the copy of the tables by itself, or its tests would count as
    touching the database of the run."""
    file = folder / "noughtbook.sqlite3"
    if Run.engine == "sqlite":
        copy(request.getfixturevalue("django_db_setup").removeprefix("sqlite:///"), file)
    return f"sqlite:///{file}"


@pytest.fixture
def alone(_alone):
    """One file and no Redis: the start command does everything. All programs are killed afterwards."""
    yield _alone
    _alone.put_right()
