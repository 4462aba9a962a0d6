"""Whatever the schedule sends by itself is missed on the health page when it fails or comes no more."""

import pytest

from compliance.celery import app
from compliance.engine.health import aged, beating
from compliance.engine.schedule import LEASE
from compliance.engine.views import LABELS
from compliance.reminders import heartbeats
from compliance.reminders.models import Heartbeat

SEEN_BY_WHAT_WAITS = {"send"}  # by the mail that does not go out
TELLING = sorted(set(app.conf.beat_schedule) - SEEN_BY_WHAT_WAITS)
pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def all_tasks():
    """As a worker has them from its beginning."""
    app.loader.import_default_modules()


def told_by(name: str) -> set[str]:
    """The heartbeats that a task of the schedule tells when it comes."""
    Heartbeat.objects.all().delete()
    app.tasks[app.conf.beat_schedule[name]["task"]].apply().get()
    return set(heartbeats.ages())


@pytest.mark.parametrize("sites", [0, 3])
def test_each_task_of_the_schedule_is_seen_by_a_heartbeat_of_its_own(request, sites):
    if sites:
        request.getfixturevalue("world")
    told = [told_by(name) for name in TELLING]
    assert [len(each) for each in told] == [1] * len(TELLING)
    assert set.union({LEASE}, *told) == {part.name for part in beating()} <= set(LABELS)
    assert len(told) + 1 == len(beating())


@pytest.mark.parametrize("name", TELLING)
def test_a_task_that_comes_in_its_time_is_well_and_one_that_left_out_three_turns_is_not(world, name):
    [told] = told_by(name)
    [part] = [part for part in beating() if part.name == told]
    between = app.conf.beat_schedule[name]["schedule"].seconds
    found = [aged(part, {told: age}).well for age in (0, between, 2 * between, 3 * between + 6)]
    assert found == [True, True, True, False]
