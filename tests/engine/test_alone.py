"""The start command on one machine: pages and schedule in one process, or in several on one database."""

import signal

from tests.engine.programs import until


def test_it_keeps_the_schedule_and_stops_at_once_when_asked(alone):
    start = alone.start()
    alone.beats_again("worker")
    alone.beats_again("schedule")
    assert start.stop(seconds=10) == 0
    assert alone.rows("SELECT holder FROM reminders_lease WHERE name = 'schedule'") == [("",)]


def test_of_two_on_one_database_one_keeps_the_schedule_and_the_other_takes_over(alone):
    starts = [alone.start(), alone.start()]
    for start in starts:
        alone.address(start)
    alone.beats_again("worker")
    for _ in range(3):
        alone.beats_again("worker")
    working = [start for start in starts if "Task reminders.heartbeat[" in start.said()]
    assert len(working) == 1
    [keeper], [other] = working, [start for start in starts if start not in working]
    keeper.kill()
    alone.beats_again("worker")
    assert "Task reminders.heartbeat[" in other.said()


def test_what_freezes_and_wakes_finds_the_schedule_taken(alone):
    sleeper = alone.start()
    alone.beats_again("worker")
    alone.freeze(sleeper)
    watcher = alone.start()
    watcher.says("Task reminders.heartbeat[")
    sleeper.signal(signal.SIGCONT)
    marked = len(sleeper.said())
    for _ in range(3):
        alone.beats_again("worker")
    # It may have been frozen between asking for the lease and the task: that one is done again, and no other.
    assert sleeper.said()[marked:].count("Task reminders.heartbeat[") <= 1
    until(lambda: alone.health(watcher)[0] == 200, what=alone.health(watcher))
