"""Workers, beats and a broker, real ones, while some of them die."""

import os
import signal

from tests.engine.programs import until


def act(installation, key) -> list[tuple]:
    return installation.rows(f"SELECT name FROM reminders_heartbeat WHERE name = 'act-{key}'")


def tries(installation, key) -> int:
    tried = installation.folder / f"tried-{key}"
    return len(tried.read_text()) if tried.exists() else 0


def holder(installation) -> str:
    return installation.rows("SELECT holder FROM reminders_lease WHERE name = 'schedule'")[0][0]


def test_a_task_whose_worker_is_killed_is_done_by_another_and_once(grown):
    """The worker with the process that it works in, the worker alone, and that process alone: then the worker itself has to
    give the task back, for to the broker it is alive. It looks for processes that died every 5 s, so a task may take longer."""
    patient = {"NOUGHTBOOK_REDELIVER_AFTER": "8"}
    doomed, keys = [grown.worker(**patient) for _ in range(3)], ("one", "other", "third")
    for worker in doomed:
        worker.says("ready")
    for key in keys:
        grown.send("acts.once", key, 3)
    until(lambda: all(tries(grown, key) for key in keys), what="the tasks to begin")
    doomed[0].kill()
    doomed[1].kill(alone=True)
    [child] = doomed[2].children()
    os.kill(child, signal.SIGKILL)
    grown.worker(**patient).says("ready")
    until(lambda: all(tries(grown, key) >= 2 for key in keys), what=grown.last_words())
    until(lambda: all(act(grown, key) for key in keys), what=grown.last_words())
    assert [len(act(grown, key)) for key in keys] == [1, 1, 1]


def test_a_broker_that_comes_back_empty_is_filled_again(grown):
    worker, beat = grown.worker(), grown.beat()
    grown.beats_again("worker")
    grown.redis.kill()
    worker.says("Connection to broker lost")
    beat.says("The schedule could not go on")
    grown.redis.start()
    grown.beats_again("worker")


def test_a_database_that_crashes_and_stays_away_for_a_while_is_found_again(grown):
    grown.worker(), grown.beat()
    start = grown.start()
    grown.beats_again("worker")
    grown.postgres.restart(away=2)
    grown.beats_again("schedule")
    grown.beats_again("worker")
    until(lambda: grown.health(start)[0] == 200, what="health")


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


def test_pages_that_nobody_works_for_say_so_where_they_are_started(grown):
    grown.change("DELETE FROM reminders_heartbeat")
    lonely = grown.start()
    grown.address(lonely)
    lonely.says("celery -A compliance worker ")
    lonely.says("celery -A compliance beat ")
    grown.worker(), grown.beat()
    grown.beats_again("worker")
    served = grown.start()
    until(lambda: grown.health(served)[0] in {200, 503}, what=served.said())
    assert "celery" not in served.said()


def test_a_worker_that_is_told_to_stop_ends_what_it_is_doing(grown):
    """It alone is told, as systemd does with KillMode=mixed."""
    worker = grown.worker()
    worker.says("ready")
    grown.send("acts.once", "ending", 2)
    until(lambda: tries(grown, "ending"), what="the task to begin")
    assert worker.stop() == 0
    assert act(grown, "ending") and tries(grown, "ending") == 1
