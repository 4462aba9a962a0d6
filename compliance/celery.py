"""The task queue. With REDIS_URL tasks go to workers through Redis; without, whoever sends one runs it.

The broker is a bell, never the record: what is to be done is in the database, so a task that gets lost is made up for by
the next one of its kind, and a task that comes twice finds nothing left to do.
"""

import os
import sys
from threading import current_thread, main_thread

import django
from celery import Celery, Task, signals

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "compliance.settings")

from django.apps import apps
from django.conf import settings
from django.db import connections

from compliance.engine.every import Every
from shared.system_checks import say, stop_if_wrong
from shared.versions import stop_unless_same_version
from shared.within import answered_within

SEND_EVERY = 15
STALE_AFTER = 26 * 3600  # seconds; no two time zones lie further apart, so a clock set by a wrong one drops nothing
NO_BROKER = (
    "A worker needs REDIS_URL, the same as the pages and the schedule have: without it nobody gives it anything to do."
)
TASK_WITHIN = 0.7 * settings.REDELIVER_AFTER  # seconds
CONNECT_WITHIN, ANSWER_WITHIN = 2, 30  # seconds; the broker is asked to hold an idle worker's question for 10


def come(task: str, seconds: float) -> dict:
    """A task that comes by itself. What nobody took for longer than clocks may disagree is not done any more; how much may
    wait is no matter of clocks, and bounded by the schedule (compliance/engine/schedule.py)."""
    return {
        "task": task,
        "schedule": Every(seconds),
        "options": {"expires": max(2 * seconds, STALE_AFTER)},
    }


class PatientTask(Task):
    """Waits for a silent database no longer than it may take, also where no worker watches the time."""

    abstract = True

    def __call__(self, *args, **kwargs):
        with answered_within(TASK_WITHIN):
            return super().__call__(*args, **kwargs)


app = Celery("noughtbook", broker=settings.BROKER or "memory://localhost", task_cls=PatientTask)
app.conf.update(
    task_always_eager=not settings.BROKER,
    result_backend=None,
    task_ignore_result=True,
    timezone="UTC",
    # A task is taken off the queue when it is done. If its worker dies, or the machine, another gets it.
    task_acks_late=True,
    task_reject_on_worker_lost=True,
    worker_prefetch_multiplier=1,
    # A task that is under way when the broker goes is finished: cut short, it might send a mail without noting that it did.
    worker_cancel_long_running_tasks_on_connection_loss=False,
    # A task has to be over before it counts as lost.
    task_soft_time_limit=TASK_WITHIN,
    task_time_limit=0.8 * settings.REDELIVER_AFTER,
    broker_transport_options={
        "visibility_timeout": settings.REDELIVER_AFTER,
        "unacked_restore_interval": min(10, settings.REDELIVER_AFTER / 2),
        "unacked_restore_throttle": 1,
        "unacked_mutex_expire": 30,
        "socket_connect_timeout": CONNECT_WITHIN,
        "socket_timeout": ANSWER_WITHIN,
    },
    broker_connection_timeout=CONNECT_WITHIN,
    broker_connection_retry_on_startup=True,
    broker_connection_max_retries=None,  # a worker waits for its broker as long as it takes
    task_publish_retry_policy={"max_retries": 2, "interval_start": 0, "interval_step": 0.2, "interval_max": 0.2},
    beat_scheduler="compliance.engine.schedule:LeasedScheduler",
    beat_schedule={
        "heartbeat": come("reminders.heartbeat", settings.SWEEP_EVERY),
        "sweep": come("reminders.sweep", settings.SWEEP_EVERY),
        "fill": come("notices.fill", settings.SWEEP_EVERY),
        "send": come("notices.send", min(SEND_EVERY, settings.SWEEP_EVERY)),
        "slots": come("reminders.expand_slots", settings.EXPAND_EVERY),
        "tidy": come("engine.tidy", settings.TIDY_EVERY),
    },
    worker_hijack_root_logger=False,
)


@signals.celeryd_init.connect
@signals.beat_init.connect
def check_settings(sender=None, **kwargs):
    """Celery's own programs are none of Django's commands, which check the settings before they begin."""
    if not apps.ready:  # a second time would lose the log, for Celery has taken standard error by then
        django.setup()
    stop_if_wrong(doubts=current_thread() is main_thread())  # or it is a command's, which has said them


@signals.celeryd_init.connect
def refuse_to_idle(sender=None, **kwargs):
    if not settings.BROKER:
        say(NO_BROKER)
        sys.exit(1)


@signals.celeryd_init.connect
@signals.beat_init.connect
def check_version(sender=None, **kwargs):
    if current_thread() is main_thread():  # or it is a command's, which has brought the tables up to date
        stop_unless_same_version()
        connections.close_all()  # a worker forks now
