"""Workers, beats and a broker, real ones, while some of them die."""

import signal

import pytest

from tests.engine.programs import until


def act(installation, key) -> list[tuple]:
    return installation.rows(f"SELECT name FROM reminders_heartbeat WHERE name = 'act-{key}'")


def tries(installation, key) -> int:
    tried = installation.folder / f"tried-{key}"
    return len(tried.read_text()) if tried.exists() else 0


def holder(installation) -> str:
    return installation.rows("SELECT holder FROM reminders_lease WHERE name = 'schedule'")[0][0]


def done_since(worker, task: str, marked: int) -> int:
    return worker.said()[marked:].count(f"Task {task}[")


def test_beat_sends_and_a_worker_does_what_is_due(grown):
    grown.worker(), grown.beat()
    grown.beats_again("worker")
    grown.beats_again("schedule")


@pytest.mark.parametrize("alone", [True, False], ids=["the worker alone", "and the process it works in"])
def test_a_task_whose_worker_is_killed_is_done_by_another_and_once(grown, alone):
    key = f"killed{alone}"
    doomed = grown.worker()
    doomed.says("ready")
    grown.send("acts.once", key, 2)
    until(lambda: tries(grown, key), what="the task to begin")
    doomed.kill(alone=alone)
    grown.worker()
    until(lambda: tries(grown, key) == 2 and act(grown, key), what=grown.last_words())
    assert len(act(grown, key)) == 1


def test_a_broker_that_comes_back_empty_is_filled_again(grown):
    worker, beat = grown.worker(), grown.beat()
    grown.beats_again("worker")
    grown.redis.kill()
    worker.says("Connection to broker lost")
    beat.says("The schedule could not go on")
    grown.redis.start()
    grown.beats_again("worker")


def test_of_two_beats_one_sends_and_the_other_takes_over(grown):
    first, second = grown.beat(), grown.beat()
    worker = grown.worker()
    grown.beats_again("worker")
    keeper = holder(grown)
    first, second = (first, second) if f":{first.process.pid}:" in keeper else (second, first)
    assert f":{first.process.pid}:" in keeper
    marked = len(second.said())
    grown.beats_again("worker")
    grown.beats_again("worker")
    assert "Sending due task" not in second.said()[marked:] and holder(grown) == keeper
    assert first.stop() == 0
    grown.beats_again("worker")
    assert f":{second.process.pid}:" in holder(grown)
    second.kill()
    grown.beat()
    grown.beats_again("worker")  # when the lease of the dead one is over
    worker.signal(signal.SIGTERM)


def test_a_lease_from_a_time_yet_to_come_jams_nothing(grown):
    """As if the clock had been set back by an hour after the last beat died, and every task sent ahead of now."""
    beat, worker = grown.beat(), grown.worker()
    grown.beats_again("worker")
    beat.kill()
    later = "datetime('now', '+1 hour')" if grown.database_url.startswith("sqlite") else "now() + interval '1 hour'"
    grown.change(f"UPDATE reminders_lease SET granted_at = {later}, until = {later}")
    said = grown.rows("SELECT CAST(said AS text) FROM reminders_heartbeat WHERE name = 'schedule'")[0][0]
    ahead = said.replace(said[said.index("T") - 10 : said.index("T")], "2099-01-01")
    grown.change(f"UPDATE reminders_heartbeat SET said = '{ahead}' WHERE name = 'schedule'")
    grown.beat()
    grown.beats_again("worker")
    grown.beats_again("worker")
    assert "2099" not in str(grown.rows("SELECT said FROM reminders_heartbeat WHERE name = 'schedule'"))
    worker.signal(signal.SIGTERM)
