"""When a task of the schedule was last done is noted whoever does it; the thread of `start` does each in its time."""

import time
from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from celery import current_app, shared_task
from django.conf import settings as configured

from compliance.celery import app
from compliance.service import serving, task_runs
from compliance.service.health import AHEAD, EACH_MINUTE
from compliance.service.models import TaskRun
from compliance.service.serving import TaskThread
from tests.service.programs import until

NOW = datetime(2026, 3, 11, 12, tzinfo=UTC)


@shared_task(name="tests.gives")
def gives(what):
    return what if what != "an error" else 1 / 0


@pytest.mark.django_db
@pytest.mark.parametrize("what, noted", [(None, True), (True, True), (False, False), ("an error", False)])
def test_a_task_is_noted_when_all_is_done_and_only_then(what, noted):
    current_app.tasks["tests.gives"].apply([what])
    assert ("tests.gives" in task_runs.ages()) == noted


@pytest.mark.django_db
def test_the_last_time_is_kept():
    TaskRun.objects.all().delete()
    for minutes in (5, 2):
        with time_machine.travel(NOW - timedelta(minutes=minutes), tick=False):
            task_runs.note("sweep")
    with time_machine.travel(NOW, tick=False):
        assert task_runs.ages() == {"sweep": 120}


def test_every_task_of_the_schedule_is_known_and_so_is_each_that_the_health_page_asks_about():
    planned = {entry["task"]: entry["schedule"] for entry in app.conf.beat_schedule.values()}
    app.loader.import_default_modules()  # as a worker does
    assert {*EACH_MINUTE, AHEAD, serving.SEND} <= set(planned) <= set(app.tasks)
    assert {planned[task] for task in EACH_MINUTE} == {configured.SWEEP_EVERY}


def test_what_no_worker_took_is_dropped_when_the_next_two_have_come():
    for entry in app.conf.beat_schedule.values():
        assert entry["options"]["expires"] == 2 * entry["schedule"]


@pytest.fixture
def thread(monkeypatch):
    """A thread of tasks that do nothing but note that they were done, by name; one of them always fails."""
    done = []

    class Noting(TaskThread):
        def _do(self, name):
            done.append(name)
            super()._do(name)

    class Failing:
        @staticmethod
        def apply():
            raise OSError("no room")

    made = Noting({"quick": 0.1, serving.SEND: 60})
    monkeypatch.setattr(serving, "current_app", type("App", (), {"tasks": {"quick": Failing, serving.SEND: Failing}}))
    made.start()
    yield made, done
    made.stop(5)
    assert not made.is_alive()


def test_a_task_that_fails_ends_neither_the_others_nor_its_own_next_time(thread, caplog):
    _, done = thread
    until(lambda: done.count("quick") >= 3)
    assert done.count(serving.SEND) == 1
    assert "quick failed, and is tried again in its time" in caplog.text and "no room" in caplog.text


def test_who_is_woken_sends_at_once_and_once(thread):
    made, done = thread
    until(lambda: done.count(serving.SEND) == 1)
    made.send_now()
    until(lambda: done.count(serving.SEND) == 2)
    time.sleep(0.3)
    assert done.count(serving.SEND) == 2
