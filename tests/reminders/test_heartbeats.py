"""What is well says so, and its age is told by the database's clock."""

from datetime import UTC, datetime, timedelta

import pytest
import time_machine

from compliance.reminders import database_clock, heartbeats
from compliance.reminders.models import Heartbeat

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _nothing_has_beaten(db):
    """The health page writes with a connection of its own, so that of an earlier test may be left."""
    Heartbeat.objects.all().delete()


def test_the_last_word_is_kept():
    heartbeats.beat("worker", tasks=1)
    heartbeats.beat("worker", tasks=2)
    assert heartbeats.said("worker")["tasks"] == 2
    assert Heartbeat.objects.count() == 1


def test_what_never_beat_says_nothing():
    assert heartbeats.said("worker") == {}
    assert heartbeats.ages() == {}


def test_ages_are_in_seconds_and_negative_after_a_clock_set_back():
    heartbeats.beat("worker")
    heartbeats.beat("schedule")
    at = Heartbeat.objects.get(name="worker").at
    Heartbeat.objects.filter(name="worker").update(at=at - timedelta(minutes=5))
    Heartbeat.objects.filter(name="schedule").update(at=at + timedelta(hours=1))
    ages = heartbeats.ages()
    assert ages["worker"] == pytest.approx(300, abs=30)
    assert ages["schedule"] == pytest.approx(-3600, abs=30)


def test_a_beat_tells_how_far_its_machine_is_from_the_clock_of_the_database():
    heartbeats.beat("here")
    with time_machine.travel(datetime.now(UTC) - timedelta(hours=1)):
        heartbeats.beat("behind")
    Heartbeat.objects.create(name="silent", at=datetime.now(UTC), said={})
    ahead = heartbeats.ahead()
    assert ahead == {"here": pytest.approx(0, abs=30), "behind": pytest.approx(-3600, abs=30)}


def test_the_database_tells_the_time_whatever_this_process_believes():
    before = datetime.now(UTC)
    with time_machine.travel(before - timedelta(hours=1)):
        told = database_clock.now()
    assert before - timedelta(seconds=1) < told <= datetime.now(UTC) + timedelta(seconds=1)
    assert told.tzinfo is UTC
