"""No program of an installation serves a database that a newer version has changed: each ends in words that say what to do."""

import subprocess
import sys

import pytest

from tests.engine.programs import PATIENCE, ROOT

SERVER, START = ("-c", "import compliance.wsgi"), ("manage.py", "start", "--port", "0")
WORKER, BEAT = ("-m", "celery", "-A", "compliance", "worker"), ("-m", "celery", "-A", "compliance", "beat")


LATER = "INSERT INTO django_migrations (app, name, applied) VALUES ('limits', '0099_later', '2026-03-11')"
FORGET = "DELETE FROM django_migrations WHERE name = '0099_later'"


@pytest.fixture
def newer(request):
    """Have an installation's database been changed by a version that is yet to come."""

    def make(name):
        installation = request.getfixturevalue(name)
        installation.change(LATER)
        request.addfinalizer(lambda: installation.change(FORGET))
        return installation

    return make


@pytest.mark.parametrize(
    "where, command",
    [("alone", SERVER), ("alone", START), ("grown", WORKER), ("grown", BEAT)],
    ids=["pages", "start", "worker", "beat"],
)
def test_a_program_older_than_the_database_ends_in_words(newer, where, command):
    environment = newer(where).environment
    done = subprocess.run(
        [sys.executable, *command], cwd=ROOT, env=environment, capture_output=True, text=True, timeout=PATIENCE
    )
    assert done.returncode == 1 and "Traceback" not in done.stderr
    assert "changed by a newer version of Noughtbook (by limits 0099_later)" in done.stderr
    assert "Install that version here, or restore a backup that was made before" in done.stderr
