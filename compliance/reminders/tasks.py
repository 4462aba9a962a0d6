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
from sites.models import Site

from . import database_clock, heartbeats
from . import sweep as sweeping
from .planning import BATCH, roll_over

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
    """Write down what has fallen due since the last time, and keep the checks that somebody left with a number beyond the
    tolerance."""
    now = database_clock.now()
    made = sweeping.sweep(now)
    store_left(now)
    heartbeats.beat("sweep", made=made)


@shared_task(name="reminders.expand_slots", **TASK)
def expand_slots(site_ids: list[int] | None = None) -> None:
    """Look up due times further ahead at these sites, or everywhere, batch by batch: one that fails stops no other.

    Only where none failed it tells so.
    """
    chosen = list(Site.objects.order_by("pk").values_list("pk", flat=True)) if site_ids is None else site_ids
    reached = [_reach_ahead(chosen[start : start + BATCH]) for start in range(0, len(chosen), BATCH)]
    if all(reached):
        heartbeats.beat_seldom("slots")


def _reach_ahead(site_ids: list[int]) -> bool:
    try:
        roll_over(site_ids)
    except Exception:
        logger.exception("Due times ahead: sites %s to %s are left for the next time", site_ids[0], site_ids[-1])
        return False
    return True
