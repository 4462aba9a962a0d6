"""What the server and libpq are told when the program connects, asked of the server and of libpq themselves."""

from copy import deepcopy

import pytest
from django.conf import settings
from django.db import OperationalError, connection
from django.db.utils import load_backend

from shared.time_limits import limit_statements
from shared.trouble import Trouble, trouble_of

pytestmark = pytest.mark.django_db
on_postgresql = pytest.mark.engine("postgres")


@pytest.fixture
def limited():
    """Connects as a program does whose statements have so many seconds; `given` are options in the database's address."""
    made = []

    def connect(seconds, given=""):
        database = deepcopy(connection.settings_dict)
        with pytest.MonkeyPatch.context() as patched:
            patched.setattr(settings, "SERVER_OPTIONS", given or settings.SERVER_OPTIONS)
            limit_statements(database, seconds)
        made.append(load_backend(database["ENGINE"]).DatabaseWrapper(database, "limited"))
        return made[-1].cursor()

    yield connect
    for each in made:
        each.close()


def shown(cursor, name: str) -> str:
    cursor.execute(f"SHOW {name}")
    return cursor.fetchone()[0]


@on_postgresql
def test_a_statement_that_takes_too_long_is_ended_by_the_server(limited):
    with pytest.raises(OperationalError) as ended:
        limited(0.1).execute("SELECT pg_sleep(20)")
    assert trouble_of(ended.value) is Trouble.BUSY


@on_postgresql
def test_whoever_vanishes_keeps_no_lock_and_what_the_address_says_comes_first(limited):
    cursor = limited(420)
    names = ("statement_timeout", "lock_timeout", "idle_in_transaction_session_timeout")
    assert [shown(cursor, name) for name in names] == ["7min", "30s", "30s"]
    assert shown(limited(10, given="-c statement_timeout=77s"), "statement_timeout") == "77s"


@on_postgresql
def test_libpq_is_told_to_give_up_a_server_or_a_network_that_is_silent(limited):
    connected = limited(10).connection.info
    told = connected.get_parameters()
    assert {name: told[name] for name in ("connect_timeout", "tcp_user_timeout", "keepalives_idle")} == {
        "connect_timeout": "3",
        "tcp_user_timeout": "10000",
        "keepalives_idle": "5",
    }
    assert "tcp_keepalives_idle=10" in told["options"]


@on_postgresql
def test_each_page_and_task_connects_anew():
    assert connection.settings_dict["CONN_MAX_AGE"] == 0


def test_an_sqlite_file_has_its_own_limit():
    database = {"ENGINE": "django.db.backends.sqlite3", "OPTIONS": {"timeout": 20}}
    limit_statements(database, 10)
    assert database["OPTIONS"] == {"timeout": 20}
