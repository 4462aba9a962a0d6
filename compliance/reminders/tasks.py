"""What the engine does again and again. A task takes ids, reads them afresh and calls one action; it may come twice, at the
same moment or not at all without harm, because what is to be done is in the database.
"""

from celery import shared_task
from django.db import InterfaceError, OperationalError

from . import heartbeats

TASK = {
    "ignore_result": True,
    "acks_late": True,
    "autoretry_for": (OperationalError, InterfaceError),
    "max_retries": 3,
    "retry_backoff": 2,
}


@shared_task(name="reminders.heartbeat", **TASK)
def heartbeat() -> None:
    """Tell that a task went all the way from the schedule to a worker and into the database."""
    heartbeats.beat("worker")
