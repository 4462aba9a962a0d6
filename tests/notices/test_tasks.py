"""What the schedule does, once round: from a failed check to the letter."""

from datetime import timedelta

from django.core import mail
from django.utils import timezone

from compliance.celery import app
from compliance.notices import tasks
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
    monkeypatch.setattr("compliance.notices.sending.send_batch.__defaults__", (timezone.now, 2, float("inf")))
    for number in range(5):
        Notice.objects.create(
            kind="due", person=world.manager, about=str(number), site=world.site, subject=f"n{number}", text="t",
            html="<p>t</p>", link="/", in_page=True, state=State.WAITING,
        )  # fmt: skip
    tasks.send()
    assert len(mail.outbox) == 5
