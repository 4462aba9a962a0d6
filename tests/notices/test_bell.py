"""The bell that a written page rings, alone and behind the pages; with real programs in tests/engine/test_at_once.py."""

import time
from threading import Event, get_ident

import pytest
from django.urls import reverse

from compliance.engine import middleware
from compliance.engine.bell import Bell
from compliance.notices import tasks
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
    bell = hung(lambda: by.append(get_ident()) or go_on.wait(10))
    bell.ring()
    until(lambda: by)
    bell.ring()  # while the first is still being answered
    assert len(by) == 1 and by[0] != get_ident()
    go_on.set()
    until(lambda: len(by) == 2)


def test_rung_often_it_is_answered_once_more(hung):
    answers = []
    bell = hung(lambda: answers.append(1), rest=0.5)
    bell.ring()
    until(lambda: answers)
    for _ in range(20):
        bell.ring()
    until(lambda: len(answers) == 2)
    time.sleep(0.7)
    assert len(answers) == 2


def test_what_goes_wrong_reaches_nobody_and_the_next_ring_is_answered(hung, caplog):
    answers = []

    def answer():
        answers.append(1)
        if len(answers) == 1:
            raise OSError("no mail today")

    bell = hung(answer)
    bell.ring()
    until(lambda: "left to the schedule: OSError: no mail today" in caplog.text)
    bell.ring()
    until(lambda: len(answers) == 2)


def test_what_was_rung_for_is_answered_before_it_is_taken_down(hung):
    answers = []
    bell = hung(lambda: answers.append(1), rest=60)
    bell.ring()
    until(lambda: answers)
    bell.ring()
    bell.take_down(within=10)
    assert len(answers) == 2
    bell.ring()
    assert not bell._thread.is_alive()


def test_where_no_pages_are_served_nobody_answers():
    answers = []
    Bell(lambda: answers.append(1)).ring()
    time.sleep(0.05)
    assert not answers


@pytest.fixture
def rings(monkeypatch):
    heard = []
    monkeypatch.setattr(middleware.bell, "ring", lambda: heard.append(1))
    return heard


def test_what_was_written_rings_and_what_was_refused_or_read_does_not(as_person, world, rings):
    client = as_person(world.manager)
    client.get(reverse("notice_list"))
    client.post(reverse("feed_revoke", args=[99]))
    assert rings == []
    client.post(reverse("notice_read_all"))
    assert rings == [1]


@pytest.mark.parametrize("act, written", [(making.bad, 2), (making.good, 0)])
def test_a_failed_check_is_written_and_sent_at_once_and_no_other(act, written, world, mailing, monkeypatch):
    sent = []
    monkeypatch.setattr(tasks, "send", lambda: sent.append(1))
    act(world.probe, world.cook, START)
    Notice.objects.all().delete()
    tasks.tell_at_once()
    assert (Notice.objects.filter(kind="failed").count(), len(sent)) == (written, bool(written))
    tasks.tell_at_once()
    assert len(sent) == bool(written)


def test_where_nothing_failed_one_question_is_asked_besides_the_time(world, django_assert_num_queries):
    making.good(world.probe, world.cook, START)
    with django_assert_num_queries(2):
        tasks.tell_at_once()


@pytest.mark.parametrize("act, told", [(making.bad, ["notices.fill"]), (making.good, [])])
def test_with_a_broker_a_worker_does_it(act, told, world, settings, monkeypatch, django_capture_on_commit_callbacks):
    settings.BROKER, sent = "redis://nowhere:1/0", []
    monkeypatch.setattr("compliance.reminders.tasks.aside", lambda work: work())
    monkeypatch.setattr("compliance.reminders.tasks._send", lambda task, args: sent.append(task.name))
    act(world.probe, world.cook, START)
    with django_capture_on_commit_callbacks(execute=True):
        tasks.tell_at_once()
    assert sent == told
    assert not Notice.objects.exists()
