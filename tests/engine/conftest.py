"""One installation for all tests of this folder: making its tables takes longer than most of them."""

import pytest

from tests.conftest import empty_database
from tests.engine.installation import Installation


@pytest.fixture(scope="session")
def _installation(tmp_path_factory):
    folder = tmp_path_factory.mktemp("engine")
    with empty_database(folder) as url:
        installation = Installation(folder, url)
        yield installation
        installation.close()


@pytest.fixture
def grown(_installation, module_database_url):
    """With Redis, and so with workers and a beat of their own; all killed afterwards. The mail server stays."""
    yield _installation.with_redis()
    _installation.kill_programs()


@pytest.fixture
def alone(_installation, module_database_url):
    """Without Redis: the start command does everything. All killed afterwards."""
    yield _installation.without_redis()
    _installation.kill_programs()
