"""What the schedule does, once round: from a failed check to the letter."""

from datetime import timedelta

import pytest
from django.core import mail
from django.utils import timezone

from compliance.celery import app
from compliance.notices import delivery, tasks
from compliance.notices.models import Notice, State
from tests.checks import making


def test_the_schedule_fills_and_sends():
    planned = {entry["task"] for entry in app.conf.beat_schedule.values()}
    assert {tasks.fill.name, tasks.send.name} <= planned


def test_from_a_failed_check_to_the_letters(world, mailing, monkeypatch):
    making.bad(world.probe, world.cook, timezone.now() - timedelta(minutes=1))
    tasks.fill()
    tasks.send()
    letters = [letter for letter in mail.outbox if "stop using" in letter.subject]
    assert {letter.to[0] for letter in letters} == {world.manager.email, world.supervisor.email}
    assert letters[0].from_email == "Noughtbook <book@kitchen.example>"
    assert set(Notice.objects.filter(kind="failed").values_list("state", flat=True)) == {State.SENT}
    tasks.fill()
    tasks.send()
    assert len([letter for letter in mail.outbox if "stop using" in letter.subject]) == 2


def test_a_failed_check_is_mailed_without_the_minutes_task(world, mailing):
    making.bad(world.probe, world.cook, timezone.now() - timedelta(minutes=1))
    tasks.send()
    assert {letter.to[0] for letter in mail.outbox} == {world.manager.email, world.supervisor.email}


@pytest.mark.parametrize("redeliver_after, most", [(600, 60), (4, 1.2)])
def test_a_turn_of_sending_is_over_before_the_task_is_stopped(settings, monkeypatch, redeliver_after, most):
    """A task is stopped after 420 s of the 600 after which it is given to another."""
    settings.REDELIVER_AFTER, given = redeliver_after, []
    monkeypatch.setattr(delivery, "send_waiting", lambda seconds: given.append(seconds))
    tasks.send()
    assert given == [pytest.approx(most)]
    assert most < 0.5 * redeliver_after
