"""What the schedule does, once round: from a failed check to the letter."""

from datetime import timedelta

import pytest
from django.core import mail
from django.utils import timezone

from compliance.celery import app
from compliance.notices import sending, tasks
from compliance.notices.models import Notice, State
from compliance.reminders import heartbeats
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
    assert "notices" in heartbeats.ages()


def test_more_than_a_batch_goes_in_one_turn(world, mailing, monkeypatch):
    monkeypatch.setattr("compliance.notices.sending.BATCH", 2)
    monkeypatch.setattr("compliance.notices.sending.send_batch.__defaults__", (timezone.now, 2, 60))
    for number in range(5):
        Notice.objects.create(
            kind="failed", person=world.manager, about=str(number), site=world.site, subject=f"n{number}", text="t",
            html="<p>t</p>", link="/", in_page=True, state=State.WAITING,
        )  # fmt: skip
    tasks.send()
    assert len(mail.outbox) == 5


def test_what_was_written_is_sent_at_once_by_a_worker(world, mailing, monkeypatch):
    rung = []
    monkeypatch.setattr(tasks, "soon", rung.append)
    making.bad(world.probe, world.cook, timezone.now() - timedelta(minutes=1))
    tasks.fill()
    assert rung == [tasks.send]
    tasks.fill()
    assert rung == [tasks.send]


@pytest.mark.parametrize(
    "sweep_every, broker, most", [(60, "", 90), (60, "redis://x", 390), (1, "", 10), (3600, "", 390)]
)
def test_a_turn_of_sending_is_over_before_the_task_is_stopped_and_before_the_sweep_is_late(
    settings, monkeypatch, sweep_every, broker, most
):
    """A task is stopped after 420 s of the 600 after which it is given to another; of the sweep, health says that it is late
    after three rounds."""
    settings.BROKER, settings.SWEEP_EVERY, settings.REDELIVER_AFTER = broker, sweep_every, 600
    given = []
    monkeypatch.setattr(sending, "send_batch", lambda clock, seconds: given.append(seconds) or 0)
    tasks.send()
    (seconds,) = given
    assert most - 1 < seconds <= most < 0.7 * 600 == app.conf.task_soft_time_limit
    assert broker or seconds < max(3 * sweep_every, 11)
