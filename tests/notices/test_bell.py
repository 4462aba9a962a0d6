"""The bell that a failed check rings, alone and behind the outbox; with real programs in tests/engine/test_at_once.py."""

import time
from threading import Event, get_ident

import pytest
from django.db import transaction
from django.utils import timezone

from compliance.checks.models import Check
from compliance.engine.bell import Bell, bell
from compliance.notices import tasks
from compliance.notices.enqueue import enqueue_due_notices
from compliance.notices.models import Notice
from tests.checks import making
from tests.checks.making import START
from tests.engine.programs import until


@pytest.fixture
def hung():
    """Makes a bell that hangs, and takes it down afterwards."""
    made = []

    def hang(answer, rest=0.01):
        made.append(Bell(answer, rest))
        made[-1].hang()
        return made[-1]

    yield hang
    for each in made:
        each.take_down(within=5)


def test_it_is_answered_by_another_thread_while_whoever_rings_goes_on(hung):
    go_on, by = Event(), []
    rung = hung(lambda: by.append(get_ident()) or go_on.wait(10))
    rung.ring()
    until(lambda: by)
    rung.ring()  # while the first is still being answered
    assert len(by) == 1 and by[0] != get_ident()
    go_on.set()
    until(lambda: len(by) == 2)


def test_rung_often_it_is_answered_once_more(hung):
    answers = []
    rung = hung(lambda: answers.append(1), rest=0.5)
    rung.ring()
    until(lambda: answers)
    for _ in range(20):
        rung.ring()
    until(lambda: len(answers) == 2)
    time.sleep(0.7)
    assert len(answers) == 2


def test_what_goes_wrong_reaches_nobody_and_the_next_ring_is_answered(hung, caplog):
    answers = []

    def answer():
        answers.append(1)
        if len(answers) == 1:
            raise OSError("no mail today")

    rung = hung(answer)
    rung.ring()
    until(lambda: "left to the schedule: OSError: no mail today" in caplog.text)
    rung.ring()
    until(lambda: len(answers) == 2)


def test_what_was_rung_for_is_answered_before_it_is_taken_down(hung):
    answers = []
    rung = hung(lambda: answers.append(1), rest=60)
    rung.ring()
    until(lambda: answers)
    rung.ring()
    rung.take_down(within=10)
    assert len(answers) == 2
    rung.ring()
    assert not rung._thread.is_alive()


def test_where_no_pages_are_served_nobody_answers():
    answers = []
    Bell(lambda: answers.append(1)).ring()
    time.sleep(0.05)
    assert not answers


@pytest.fixture
def rings(monkeypatch):
    heard = []
    monkeypatch.setattr(bell, "ring", lambda: heard.append(1))
    return heard


@pytest.mark.parametrize("act, rung", [(making.bad, 1), (making.good, 0)])
def test_a_failed_check_is_written_with_it_and_rings_once_it_is_committed(
    act, rung, world, mailing, rings, django_capture_on_commit_callbacks
):
    with django_capture_on_commit_callbacks(execute=True):
        check = act(world.probe, world.cook, START)
        told = Notice.objects.filter(kind="failed", checks=[check.pk], state="waiting")
        assert told.count() == 2 * rung and not rings
    assert len(rings) == rung
    enqueue_due_notices(timezone.now())
    assert Notice.objects.filter(kind="failed").count() == 2 * rung


def test_a_check_that_is_not_recorded_after_all_is_told_to_nobody(world, mailing, rings):
    with pytest.raises(ZeroDivisionError), transaction.atomic():
        making.bad(world.probe, world.cook, START)
        raise ZeroDivisionError
    assert not Notice.objects.exists() and not rings


def test_what_goes_wrong_while_it_is_written_costs_no_check_and_is_made_up_for(world, mailing, monkeypatch):
    def broken(*given):
        Notice.objects.create(person_id=None)

    with monkeypatch.context() as patched:
        patched.setattr(tasks, "enqueue", broken)
        check = making.bad(world.probe, world.cook, START)
    assert Check.objects.filter(pk=check.pk).exists() and not Notice.objects.exists()
    enqueue_due_notices(timezone.now())
    assert Notice.objects.filter(kind="failed").count() == 2


def test_with_a_broker_a_worker_sends(world, mailing, settings, monkeypatch, rings, django_capture_on_commit_callbacks):
    settings.BROKER, sent = "redis://nowhere:1/0", []
    monkeypatch.setattr("compliance.reminders.tasks.aside", lambda work: work())
    monkeypatch.setattr("compliance.reminders.tasks._send", lambda task, args: sent.append(task.name))
    with django_capture_on_commit_callbacks(execute=True):
        making.bad(world.probe, world.cook, START)
    assert (sent, rings) == (["notices.send"], [])


def test_where_all_is_quiet_nothing_rings(world, settings, rings, django_capture_on_commit_callbacks):
    settings.MAIL_WORKS = False
    with django_capture_on_commit_callbacks(execute=True):
        making.bad(world.probe, world.cook, START)
    assert Notice.objects.filter(state="page").count() == 2 and not rings
