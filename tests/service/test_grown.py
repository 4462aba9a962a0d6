"""Pages, a worker, a beat and a mail server, on a PostgreSQL and a Redis: all of them real, started once.

Each test strikes a part and leaves all going on; `python -m tests.service.kills --runs 50` does more of what is random here.
"""

import random
import re
import time
import urllib.error
from concurrent.futures import ThreadPoolExecutor

import pytest

from tests.service.kills import WORKS, at_rest, nothing_waits, run_once
from tests.service.programs import until
from tests.service.strikes import STRIKES, Scene
from tests.service.telling import PROBES

VISITORS = 4
SOON = 9  # seconds; it gives up on a database after 3 and on a broker after 2, and the rest is for a busy machine
STRIKES_AT_ONCE = 3


@pytest.fixture(scope="module")
def scene(_grown):
    yield Scene(_grown.with_redis().with_post(), random.Random(), workers=1, hasty=True)
    _grown.put_right()


@pytest.fixture(scope="module")
def visitor(scene):
    return scene.signed_in()


@pytest.fixture
def grown(scene):
    """Where all is well before a test and after it."""
    until(lambda: unwell(scene) == set(), what=scene.installation.last_words())
    yield scene.installation
    scene.installation.goes_on()
    until(lambda: unwell(scene) == set(), what=scene.installation.last_words())


def unwell(scene) -> set[str]:
    asked = time.monotonic()
    status, found = scene.installation.health(scene.web)
    assert time.monotonic() - asked < SOON
    told = {name for name, part in found.items() if not part["well"]}
    assert status == (503 if told else 200)
    return told


def act(installation, key) -> list[tuple]:
    return installation.rows(f"SELECT name FROM service_taskrun WHERE name = 'act-{key}'")


def tries(installation, key) -> int:
    tried = installation.folder / f"tried-{key}"
    return len(tried.read_text()) if tried.exists() else 0


def a_probe(installation) -> int:
    """Of those that nothing falls due of in the random strikes."""
    return installation.rows(PROBES)[0][0]


def test_pages_that_nobody_works_for_say_so_where_they_are_started(scene, grown):
    said = scene.web.said()
    assert "celery -A compliance worker" in said and "never done yet" in said


def test_a_task_whose_worker_is_killed_is_done_by_another_and_once(scene, grown):
    grown.send("acts.once", "key", 2)
    until(lambda: tries(grown, "key"), what="the task to begin")
    [worker] = scene.workers
    worker.kill()
    scene.another_worker(worker)
    until(lambda: act(grown, "key"), what=grown.last_words())
    assert tries(grown, "key") >= 2 and len(act(grown, "key")) == 1


def test_a_silent_beat_is_told_and_two_do_no_harm(scene, grown):
    [beat] = scene.beats
    beat.freeze()
    try:
        until(lambda: unwell(scene) == {"tasks"}, what=grown.last_words())
    finally:
        beat.thaw()
    scene.beats.append(grown.beat())


def test_a_broker_that_is_silent_or_gone_is_told_and_costs_nobody_a_check(scene, visitor, grown):
    grown.redis.freeze()
    assert "broker" in unwell(scene)
    grown.redis.thaw()
    grown.redis.kill()
    assert "broker" in unwell(scene)
    assert re.search(r"/checks/\d+/$", visitor.record(a_probe(grown), "2.8"))
    grown.redis.start()  # empty


def test_a_database_that_crashes_and_stays_away_for_a_while_is_found_again(grown):
    until(
        lambda: nothing_waits(grown), what="the letters to be sent; what a sender holds now would wait for 15 minutes"
    )
    grown.postgres.restart(away=1)


def test_a_silent_database_is_told_and_what_was_typed_is_kept(scene, visitor, grown):
    path = f"/probes/{a_probe(grown)}/certificate/"
    grown.postgres.freeze()
    try:
        with ThreadPoolExecutor(VISITORS) as crowd:
            pages = [crowd.submit(visitor.look, "/today/") for _ in range(VISITORS)]
            with pytest.raises(urllib.error.HTTPError) as refused:
                visitor.post(path, {"csrfmiddlewaretoken": "x", "laboratory": "Fen Measurement"})
            assert "database" in unwell(scene)
            assert {page.result()[0] for page in pages} == {503}
    finally:
        grown.postgres.thaw()
    said = refused.value.read().decode()
    assert refused.value.code == 503 and "<h1>The records cannot be reached just now</h1>" in said
    assert 'value="Fen Measurement"' in said
    until(lambda: visitor.look("/today/")[0] == 200)


def test_a_lock_that_is_not_let_go_is_given_up_and_what_was_typed_is_kept(visitor, grown):
    """Statements of pages are ended by the server itself (`statement_timeout`)."""
    with grown.connected() as holding:
        holding.execute("SELECT * FROM probes_probe FOR UPDATE")
        with pytest.raises(urllib.error.HTTPError) as refused:
            visitor.record(a_probe(grown), "0.2")
    said = refused.value.read().decode()
    assert refused.value.code == 503
    assert "The records are being written by another" in said and "Nothing you typed is lost" in said


def test_random_strikes_lose_and_double_nothing_and_health_tells_the_truth_of_them(scene, grown):
    until(lambda: at_rest(grown), what=grown.last_words())
    strikes = scene.chance.sample(STRIKES, STRIKES_AT_ONCE)
    faults, watch, judged = run_once(scene, [work() for work in WORKS], strikes, scene.chance)
    assert not faults, ([strike.__name__ for strike in strikes], faults)
    assert len(watch.looks) > 5 and judged.up > 0


def test_told_to_stop_they_end(scene):
    """The last here, for nothing goes on after it."""
    for program in (*scene.workers, *scene.beats, scene.web):
        assert program.stop() == 0
