"""A task that is to be done soon: by a worker after the commit, and nobody waits for a broker that does not answer."""

import threading
import time

import pytest
from celery.exceptions import OperationalError as NoBroker
from django.db import transaction

from compliance.reminders import tasks

pytestmark = pytest.mark.django_db


class Bell:
    name = "the bell"

    def __init__(self, act=lambda: None):
        self.act, self.rung = act, []

    def apply_async(self, args, retry):
        self.rung.append(args)
        self.act()


def ring(bell, capture):
    with capture(execute=True), transaction.atomic():
        tasks.soon(bell, 7)
        assert bell.rung == []


def until(happens):
    end = time.monotonic() + 10
    while not happens() and time.monotonic() < end:
        time.sleep(0.01)
    assert happens()


def test_a_worker_is_told_after_the_commit(settings, django_capture_on_commit_callbacks):
    settings.BROKER, bell = "redis://broker", Bell()
    ring(bell, django_capture_on_commit_callbacks)
    until(lambda: bell.rung == [(7,)])


def test_without_a_broker_it_is_left_to_the_schedule(settings, django_capture_on_commit_callbacks):
    settings.BROKER, bell = "", Bell()
    with django_capture_on_commit_callbacks(execute=True) as told:
        tasks.soon(bell)
    assert told == [] and bell.rung == []


def test_nobody_waits_for_a_broker_that_hangs(settings, django_capture_on_commit_callbacks):
    wake = threading.Event()
    settings.BROKER, bell = "redis://broker", Bell(wake.wait)
    ring(bell, django_capture_on_commit_callbacks)  # which returns, or this test does not end
    until(lambda: bell.rung)
    wake.set()


def test_a_broker_that_fails_is_said_and_nothing_else(settings, django_capture_on_commit_callbacks, caplog):
    def fail():
        raise NoBroker("gone")

    settings.BROKER, bell = "redis://broker", Bell(fail)
    ring(bell, django_capture_on_commit_callbacks)
    until(lambda: "the bell waits for the schedule: gone" in caplog.text)
