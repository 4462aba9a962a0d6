"""What has run out is cleared away by itself, and nothing else."""

from datetime import timedelta

from django.contrib.sessions.models import Session
from django.utils import timezone

from compliance.celery import app
from compliance.readings.importing.uploads import keep
from compliance.readings.models import PendingUpload
from compliance.service.tasks import tidy


def test_sessions_and_files_that_have_run_out_are_cleared_away_and_others_kept(world, clock):
    for key, days in [("old", -1), ("new", 1)]:
        Session.objects.create(session_key=key, session_data="", expire_date=timezone.now() + timedelta(days=days))
    old, new = (keep(by=world.cook, file_name=name, content=b"x") for name in ("old.csv", "new.csv"))
    PendingUpload.objects.filter(pk=old.pk).update(uploaded_at=timezone.now() - timedelta(days=1, minutes=1))
    tidy()
    assert [session.session_key for session in Session.objects.all()] == ["new"]
    assert list(PendingUpload.objects.all()) == [new]


def test_it_comes_once_a_day():
    [entry] = [entry for entry in app.conf.beat_schedule.values() if entry["task"] == "service.tidy"]
    assert entry["schedule"] == timedelta(days=1).total_seconds()
