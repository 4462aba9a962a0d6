"""The schedule that a beat keeps, tick by tick, on a clock that is moved."""

import json
from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from celery import current_app
from django.db import OperationalError

from compliance.engine import schedule
from compliance.engine.schedule import LEASE, LeasedScheduler
from compliance.reminders import heartbeats, leases
from compliance.reminders.models import Heartbeat

NOON = datetime(2026, 3, 11, 12, 0, tzinfo=UTC)
pytestmark = pytest.mark.django_db


@pytest.fixture
def clock():
    with time_machine.travel(NOON, tick=False) as clock:
        yield clock


@pytest.fixture
def beat(monkeypatch, clock):
    """Make a beat that notes what it sends instead of sending it: `beat().sent`."""
    monkeypatch.setattr(schedule.connections, "close_all", lambda: None)  # the test's own connection

    def make():
        made = LeasedScheduler(current_app._get_current_object())
        made.sent, made.wrong = [], None

        def send(entry, **told):
            if made.wrong:
                raise made.wrong
            made.sent.append(entry.name)

        monkeypatch.setattr(made, "apply_async", send)
        made.__dict__["producer"] = None
        return made

    return make


def run(beat, *, ticks=40):
    """So many ticks at this moment; gives what was sent, in the order of names."""
    beat.asked_at = None  # as if the lease were to be asked for
    before = len(beat.sent)
    for _ in range(ticks):
        beat.tick()
    return sorted(beat.sent[before:])


EVERYTHING = ["fill", "heartbeat", "send", "slots", "sweep", "tidy"]
EACH_MINUTE = ["fill", "heartbeat", "send", "sweep"]


def test_the_first_ever_sends_everything_once_and_each_again_in_its_time(beat, clock):
    it = beat()
    assert run(it) == EVERYTHING
    assert run(it) == []
    clock.shift(16)
    assert run(it) == ["send"]
    clock.shift(60)
    assert run(it) == EACH_MINUTE
    clock.shift(6 * 3600)
    assert run(it) == [*EACH_MINUTE[:3], "slots", "sweep"]
    clock.shift(24 * 3600)
    assert run(it) == EVERYTHING


def test_who_comes_next_goes_on_where_the_last_one_stopped(beat, clock):
    first, second = beat(), beat()
    run(first)
    assert run(second) == []
    first.close()
    assert run(second) == []
    clock.shift(61)
    assert run(second) == EACH_MINUTE
    assert run(first) == []


def test_who_is_told_to_stop_in_the_middle_of_a_statement_lets_go_afterwards(beat, clock, monkeypatch):
    it, used = beat(), []
    run(it)
    held = leases.hold

    def told_to_stop(*args, **kwargs):
        """As Celery does when a signal comes: there and then, and then it leaves."""
        with monkeypatch.context() as patch:
            patch.setattr(leases, "release", lambda *args, **kwargs: used.append("the connection, in the middle"))
            it.close()
        raise SystemExit

    clock.shift(61)
    it.asked_at = None
    with monkeypatch.context() as patch, pytest.raises(SystemExit):
        patch.setattr(leases, "hold", told_to_stop)
        it.tick()
    assert used == [] and leases.hold is held
    it.close()
    assert leases.take(LEASE, holder="another", seconds=60)


def test_who_has_lost_the_lease_sends_nothing_that_is_due(beat, clock):
    it = beat()
    run(it)
    clock.shift(61)
    leases.release(LEASE, holder=it.holder)
    leases.take(LEASE, holder="another", seconds=60)
    for _ in range(5):
        it.tick()  # which believes that the lease is still its own, until it is about to send
    assert sorted(it.sent) == EVERYTHING


def test_a_clock_set_back_an_hour_sends_everything_once_more_and_then_goes_on(beat, clock):
    it = beat()
    run(it)
    clock.move_to(NOON - timedelta(hours=1))
    assert run(it) == EVERYTHING
    assert run(it) == []
    clock.shift(61)
    assert run(it) == EACH_MINUTE


def test_what_could_not_be_sent_is_due_still(beat, clock):
    it = beat()
    it.wrong = ConnectionError("no broker")
    assert run(it) == []
    it.wrong = None
    assert run(it) == EVERYTHING


def test_a_broker_that_no_worker_empties_is_not_filled_without_end(beat, clock, settings, monkeypatch):
    it, settings.BROKER = beat(), "redis://broker"
    monkeypatch.setattr(schedule, "waiting_tasks", lambda: schedule.CROWD)
    assert run(it) == []
    monkeypatch.setattr(schedule, "waiting_tasks", lambda: schedule.CROWD - 1)
    clock.shift(61)
    assert run(it) == EACH_MINUTE


def test_what_nobody_took_is_not_done_for_ever_but_by_any_worker_however_wrong_its_clock():
    """UTC-12 and UTC+14 lie furthest apart (tz database, Etc/GMT+12 and Pacific/Kiritimati): 26 hours."""
    for entry in current_app.conf.beat_schedule.values():
        assert 26 * 3600 <= entry["options"]["expires"] <= 48 * 3600


def test_a_database_that_fails_does_not_end_the_schedule(beat, clock, monkeypatch):
    it = beat()

    def fail(*args, **kwargs):
        raise OperationalError("gone")

    with monkeypatch.context() as patch:
        patch.setattr(leases, "take", fail)
        assert 0 < it.tick() <= schedule.AGAIN_AFTER
    assert run(it) == EVERYTHING


def test_what_was_sent_is_noted_with_its_time(beat, clock):
    run(beat())
    sent = Heartbeat.objects.get(name=LEASE).said["sent"]
    assert set(sent) == set(EVERYTHING)
    assert json.dumps(sent).count(NOON.isoformat()) == len(sent)
    assert heartbeats.said(LEASE)["holder"]


def test_every_task_of_the_schedule_is_known():
    app = current_app._get_current_object()
    app.loader.import_default_modules()  # as a worker does
    assert {entry["task"] for entry in app.conf.beat_schedule.values()} <= set(app.tasks)
