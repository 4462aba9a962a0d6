"""Databases that do not answer: a PostgreSQL that is frozen, a network that swallows, an SQLite file that somebody keeps."""

import re
import signal
import time
import urllib.error
from concurrent.futures import ThreadPoolExecutor

import psycopg
import pytest
from django.conf import settings
from django.db import OperationalError

from shared.postgresql.base import Connection, DatabaseWrapper
from shared.within import answered_within
from tests.engine.programs import until
from tests.engine.visitor import Visitor

VISITORS = 12  # at once, which is more than a process makes pages for
SOON = 9  # seconds in which the health page comes: it gives up after 2, and the rest is for a busy machine


def unwell(installation, start) -> set[str]:
    asked = time.monotonic()
    found = {name for name, part in installation.health(start)[1].items() if not part["well"]}
    assert time.monotonic() - asked < SOON
    return found


def all_goes_on(installation, start) -> None:
    for part in ("schedule", "worker", "sweep", "notices"):
        installation.beats_again(part)
    until(lambda: installation.health(start)[0] == 200, what=installation.health(start))
    assert installation.page(start, "sign-in/")[0] == 200


def test_a_statement_is_given_up_when_its_time_is_over_and_only_then(grown):
    address = grown.postgres.url("postgres")
    with Connection.connect(address) as connection:
        with answered_within(30):
            connection.execute("SELECT pg_sleep(0.3)")
        with answered_within(0.2), answered_within(None):
            connection.execute("SELECT pg_sleep(0.3)")
        with answered_within(0.2), pytest.raises(psycopg.OperationalError, match="no answer within 0.2 s"):
            connection.execute("SELECT pg_sleep(5)")
        assert connection.closed
    with (
        Connection.connect(address) as connection,
        answered_within(0.4),
    ):  # an answer that keeps coming is none too late
        assert (
            len(connection.execute("SELECT pg_sleep(0.05), repeat('x', 20000) FROM generate_series(1, 20)").fetchall())
            == 20
        )


def test_a_database_that_falls_silent_hangs_nothing_for_ever(grown):
    """Once frozen, with connections that are answered later; once behind a network in which they are lost."""
    start, worker, beat = grown.start(), grown.worker(), grown.beat()
    all_goes_on(grown, start)
    visitor = Visitor(grown.address(start))
    for strike, end in ((grown.postgres.freeze, grown.postgres.thaw), (grown.network.swallow, grown.network.carry)):
        strike()
        with ThreadPoolExecutor(VISITORS) as crowd:
            pages = [crowd.submit(visitor.look, "/") for _ in range(VISITORS)]
            time.sleep(1)
            assert "database" in unwell(grown, start)
            assert {page.result()[0] for page in pages} == {503}
        assert "database" in unwell(grown, start)
        end()
        all_goes_on(grown, start)
        assert visitor.look("/")[0] == 200
    assert worker.process.poll() is None and beat.process.poll() is None


def test_while_a_program_is_stopped_in_the_middle_of_writing_nothing_is_lost(alone):
    start = alone.start()
    all_goes_on(alone, start)
    visitor = Visitor(alone.address(start))
    [[probe]] = alone.rows("SELECT probe_id FROM checks_probestate")
    sleeper = alone.writer("slow")
    assert "database" in unwell(alone, start)
    with pytest.raises(urllib.error.HTTPError) as refused:
        visitor.record(probe, "0.3")
    said = refused.value.read().decode()
    assert refused.value.code == 503 and "not saved yet" in said and 'value="Fen Measurement"' in said
    (alone.folder / "go-on-slow").touch()
    sleeper.signal(signal.SIGCONT)
    until(lambda: alone.beaten("slow"), what="what was being written")
    alone.writer("doomed").kill()
    kept = re.findall(r'<input type="hidden" name="([^"]*)" value="([^"]*)">', said)
    assert re.search(r"/checks/\d+/$", visitor.post(f"/probes/{probe}/certificate/", kept))
    assert alone.rows("SELECT count(*) FROM checks_check WHERE error_milli = 300") == [(1,)]
    assert not alone.beaten("doomed")
    all_goes_on(alone, start)


def test_who_was_left_by_a_client_that_waits_no_longer_does_not_go_on_to_wait_for_a_lock(grown, django_db_blocker):
    """Or a lock that stays held would fill the server with connections of which nobody knows any more."""
    lock, waiting = (
        "SELECT pg_advisory_xact_lock(7)",
        "SELECT count(*) FROM pg_stat_activity WHERE wait_event = 'advisory'",
    )
    known = {
        **settings.DATABASES["default"],
        "NAME": "postgres",
        "HOST": str(grown.postgres.folder),
        "USER": "postgres",
        "OPTIONS": {},
        "CONN_MAX_AGE": 0,
        "CONN_HEALTH_CHECKS": False,
        "TIME_ZONE": None,
    }

    def wait_for_it() -> None:
        with answered_within(1), DatabaseWrapper(known).cursor() as cursor:
            cursor.execute(lock)

    with psycopg.connect(grown.postgres.url("postgres")) as holding, django_db_blocker.unblock():
        holding.execute(lock)
        with (
            ThreadPoolExecutor(1) as elsewhere,
            pytest.raises(OperationalError),
        ):  # a browser has its loop in this thread
            elsewhere.submit(wait_for_it).result()
        until(lambda: grown.rows(waiting) == [(0,)], what="it to go away", seconds=4)
