"""That due times are made ahead everywhere is told, and only where it is so."""

from datetime import UTC, datetime, timedelta

import pytest
from django.utils import timezone

from compliance.celery import app
from compliance.plans.models import Horizon
from compliance.reminders import tasks
from compliance.reminders.planning import roll_over
from compliance.reminders.queries import behind
from compliance.service import task_runs
from sites.models import Site

pytestmark = pytest.mark.django_db
FAR = 6  # days since a site was looked after


@pytest.fixture
def each_alone(monkeypatch):
    """One site a batch."""
    monkeypatch.setattr(tasks, "SITES", 1)


def left_behind(site, days=FAR) -> None:
    horizon = Horizon.objects.get(site=site)
    horizon.rounds_until -= timedelta(days=days)
    horizon.save()


def fails_at(monkeypatch, site) -> None:
    def roll(site_ids):
        if site.pk in site_ids:
            raise ArithmeticError("a plan that cannot be worked out")
        return roll_over(site_ids)

    monkeypatch.setattr(tasks, "roll_over", roll)


def told() -> bool:
    app.tasks["reminders.expand_slots"].apply()
    return "reminders.expand_slots" in task_runs.ages()


@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "Etc/GMT+12"])
def test_who_was_looked_after_within_a_day_is_not_behind_in_any_zone(world, clock, zone):
    clock.move_to(datetime(2026, 3, 11, 11, 30, tzinfo=UTC))
    Site.objects.filter(pk=world.site.pk).update(time_zone=zone)
    roll_over()
    assert not behind(timezone.now() + timedelta(hours=23, minutes=59)).exists()
    assert world.site in behind(timezone.now() + timedelta(days=FAR))


def test_when_the_last_batch_is_done_it_is_told(world, each_alone):
    assert told()
    assert not behind(timezone.now()).exists()


def test_a_batch_that_fails_is_not_hidden_by_the_others(world, each_alone, monkeypatch):
    roll_over()
    left_behind(world.other_site)
    fails_at(monkeypatch, world.other_site)
    assert not told()
    assert list(behind(timezone.now())) == [world.other_site]


def test_a_site_that_never_had_due_times_made_is_behind(world, each_alone, monkeypatch):
    fails_at(monkeypatch, world.other_site)
    assert not told()


def test_where_all_fail_nothing_is_told_though_none_is_behind_yet(world, monkeypatch):
    roll_over()
    fails_at(monkeypatch, world.site)
    assert not told()
