"""What the engine does again and again. A task takes ids, reads them afresh and calls one action; it may come twice, at the
same moment or not at all without harm, because what is to be done is in the database.
"""

import logging

from celery import Task, shared_task
from celery.exceptions import OperationalError as NoBroker
from django.conf import settings
from django.db import InterfaceError, OperationalError, transaction

from compliance.checks.unfinished import store_left
from shared.within import aside

from . import database_clock, heartbeats
from . import sweep as sweeping
from .planning import extend_horizon, settle_all

WITHIN = 20  # seconds; the next minute goes on with what is left
TASK = {
    "ignore_result": True,
    "acks_late": True,
    "autoretry_for": (OperationalError, InterfaceError),
    "max_retries": 3,
    "retry_backoff": 2,
}
logger = logging.getLogger(__name__)


def soon(task: Task, *args) -> None:
    """Have the task done by a worker when what is being written has been committed, without waiting for its turn.

    Without a broker, or while it does not answer, the schedule comes to it within a minute: the work is in the database.
    Nobody waits for the broker either way.
    """
    if settings.BROKER:
        transaction.on_commit(lambda: aside(lambda: _send(task, args)), robust=True)


def _send(task: Task, args: tuple) -> None:
    try:
        task.apply_async(args, retry=False)
    except NoBroker as error:
        logger.warning("The broker does not answer; %s waits for the schedule: %s", task.name, error)


@shared_task(name="reminders.heartbeat", **TASK)
def heartbeat() -> None:
    """Tell that a task went all the way from the schedule to a worker and into the database."""
    heartbeats.beat("worker")


@shared_task(name="reminders.sweep", **TASK)
def sweep() -> None:
    """Let rows follow what was set for many sites, and keep the checks that somebody left with a number beyond the tolerance."""
    now = database_clock.now()
    settle_all(seconds=WITHIN)
    made = sweeping.sweep(now)
    store_left(now)
    heartbeats.beat("sweep", made=made)


@shared_task(name="reminders.expand_slots", **TASK)
def expand_slots() -> None:
    """Lay rows further ahead. Only where that went well everywhere it tells so."""
    if extend_horizon(database_clock.now()):
        heartbeats.beat_seldom("slots")
