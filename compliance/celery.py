"""The task queue. With REDIS_URL workers do the tasks; without, the process of `start` does (compliance/service/serving.py).

The broker is never the record: what is to be done is in the database, so a task that gets lost is made up for by the next one
of its kind, and a task that comes twice finds nothing left to do.
"""

import os
import sys
from datetime import UTC, datetime

import django
from celery import Celery, signals

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "compliance.settings")
os.environ.setdefault("CELERY_SKIP_CHECKS", "1")  # of code, which load every page; `check_settings` does the others

from django.apps import apps
from django.conf import settings
from django.db import connections

from shared.system_checks import say, stop_if_wrong
from shared.time_limits import limit_statements
from shared.versions import stop_unless_same_version

NEVER = datetime(2000, 1, 1, tzinfo=UTC)
CONNECT_WITHIN, ANSWER_WITHIN = 2, 30  # seconds; the broker is asked to hold an idle worker's question for 10
NO_BROKER = (
    "A worker needs REDIS_URL, the same as the pages and the schedule have: without it nobody gives it anything to do."
)


def every(seconds: float, task: str) -> dict:
    """A task of the schedule. One that was never sent is due at once; what no worker took in time, the next makes up for."""
    return {"task": task, "schedule": seconds, "last_run_at": NEVER, "options": {"expires": 2 * seconds}}


app = Celery("noughtbook", broker=settings.BROKER or "memory://localhost")
app.conf.update(
    task_always_eager=not settings.BROKER,
    task_ignore_result=True,
    timezone="UTC",
    # A task is taken off the queue when it is done. If its worker dies, or the machine, another gets it.
    task_acks_late=True,
    task_reject_on_worker_lost=True,
    worker_prefetch_multiplier=1,
    # A task that is under way when the broker goes is finished: cut short, it might send a mail without noting that it did.
    worker_cancel_long_running_tasks_on_connection_loss=False,
    task_soft_time_limit=settings.TASK_WITHIN,
    task_time_limit=0.8 * settings.REDELIVER_AFTER,
    broker_transport_options={
        "visibility_timeout": settings.REDELIVER_AFTER,
        "unacked_restore_interval": min(10, settings.REDELIVER_AFTER / 2),
        "unacked_restore_throttle": 1,
        "socket_connect_timeout": CONNECT_WITHIN,
        "socket_timeout": ANSWER_WITHIN,
    },
    broker_connection_timeout=CONNECT_WITHIN,
    broker_connection_retry_on_startup=True,
    broker_connection_max_retries=None,  # a worker waits for its broker as long as it takes
    beat_scheduler="celery.beat:Scheduler",  # keeps no file: who begins sends everything once, which does no harm
    beat_schedule={
        "settle": every(settings.SWEEP_EVERY, "reminders.settle"),
        "fill": every(settings.SWEEP_EVERY, "notices.fill"),
        "send": every(settings.SWEEP_EVERY, "notices.send"),
        "horizon": every(settings.EXPAND_EVERY, "reminders.extend_horizon"),
        "tidy": every(settings.TIDY_EVERY, "service.tidy"),
    },
    worker_hijack_root_logger=False,
)


@signals.celeryd_init.connect
@signals.beat_init.connect
def check_settings(**kwargs):
    """Celery's own programs are none of Django's commands, which check the settings before they begin."""
    if not apps.ready:  # a second time would lose the log, for Celery has taken standard error by then
        django.setup()
    stop_if_wrong()


@signals.celeryd_init.connect
def refuse_to_idle(**kwargs):
    if not settings.BROKER:
        say(NO_BROKER)
        sys.exit(1)


@signals.celeryd_init.connect
@signals.beat_init.connect
def check_database(**kwargs):
    stop_unless_same_version()
    connections.close_all()  # a worker forks now
    limit_statements(connections.settings["default"], settings.TASK_STATEMENT)
