"""The notices of a failed check are written with it and wake the sender (real programs: tests/service/test_told_at_once.py)."""

import socket
import time

import pytest
from django.db import transaction
from django.utils import timezone

from compliance.celery import app
from compliance.checks.models import Check
from compliance.notices import tasks
from compliance.notices.enqueue import enqueue_due_notices
from compliance.notices.models import Notice
from compliance.service import serving
from tests.checks import making
from tests.checks.making import START
from tests.service.programs import RedisServer, free_port


class Sleeper:
    """A thread of tasks that only notes that it was woken."""

    def __init__(self):
        self.woken = 0

    def send_now(self) -> None:
        self.woken += 1


@pytest.fixture
def sender(monkeypatch):
    monkeypatch.setattr(serving, "running", Sleeper())
    return serving.running


@pytest.mark.parametrize("act, woken", [(making.bad, 1), (making.good, 0)])
def test_a_failed_check_is_written_with_it_and_wakes_the_sender_once_it_is_committed(
    act, woken, world, mailing, sender, django_capture_on_commit_callbacks
):
    with django_capture_on_commit_callbacks(execute=True):
        check = act(world.probe, world.cook, START)
        told = Notice.objects.filter(kind="failed", facts=[check.pk], state="waiting")
        assert told.count() == 2 * woken and not sender.woken
    assert sender.woken == woken
    enqueue_due_notices(timezone.now())
    assert Notice.objects.filter(kind="failed").count() == 2 * woken


def test_a_check_that_is_not_recorded_after_all_is_told_to_nobody(world, mailing, sender):
    with pytest.raises(ZeroDivisionError), transaction.atomic():
        making.bad(world.probe, world.cook, START)
        raise ZeroDivisionError
    assert not Notice.objects.exists() and not sender.woken


def test_what_goes_wrong_while_it_is_written_costs_no_check_and_is_made_up_for(world, mailing, monkeypatch):
    def broken(*given):
        Notice.objects.create(person_id=None)

    with monkeypatch.context() as patched:
        patched.setattr(tasks, "enqueue", broken)
        check = making.bad(world.probe, world.cook, START)
    assert Check.objects.filter(pk=check.pk).exists() and not Notice.objects.exists()
    enqueue_due_notices(timezone.now())
    assert Notice.objects.filter(kind="failed").count() == 2


@pytest.fixture
def failing_check(world, mailing, settings, django_capture_on_commit_callbacks):
    """Has a check fail with the broker of this address; gives the seconds that the page would have waited."""

    def fail(broker):
        settings.BROKER = broker
        app.conf.task_always_eager = False
        with django_capture_on_commit_callbacks() as after:
            making.bad(world.probe, world.cook, START)
        begun = time.monotonic()
        for each in after:
            each()
        return time.monotonic() - begun

    yield fail
    app.conf.task_always_eager = True


@pytest.fixture
def broker(tmp_path):
    server = RedisServer(tmp_path)
    yield server
    server.kill()


def test_with_a_broker_a_worker_is_told_to_send(failing_check, broker):
    failing_check(broker.url)
    assert broker.waiting() == 1


@pytest.mark.parametrize("silent", [False, True], ids=["gone", "silent"])
def test_a_broker_that_is_gone_or_silent_keeps_a_page_two_seconds_at_most(failing_check, caplog, silent):
    port = free_port()
    with socket.create_server(("127.0.0.1", port)) if silent else socket.socket():
        waited = failing_check(f"redis://127.0.0.1:{port}/0")
    assert waited < 4  # about one where the machine is idle
    assert "The broker does not answer" in caplog.text
    assert Notice.objects.filter(kind="failed", state="waiting").count() == 2


def test_where_all_is_quiet_nobody_is_woken(world, settings, sender, django_capture_on_commit_callbacks):
    settings.MAIL_WORKS = False
    with django_capture_on_commit_callbacks(execute=True):
        making.bad(world.probe, world.cook, START)
    assert Notice.objects.filter(state="page").count() == 2 and not sender.woken
