"""What the schedule does again and again. A task takes ids, reads them afresh and calls one action; it may come twice, at the
same moment or not at all without harm, because what is to be done is in the database.
"""

from celery import shared_task
from django.utils import timezone

from compliance.checks.unfinished import store_left

from . import planning

WITHIN = 20  # seconds; the next minute goes on with what is left


@shared_task(name="reminders.settle")
def settle() -> None:
    """Let rows follow what was set for many sites, and keep the checks that somebody left with a number beyond the tolerance."""
    planning.settle_all(seconds=WITHIN)
    store_left(timezone.now())


@shared_task(name="reminders.extend_horizon")
def extend_horizon() -> bool:
    """Lay rows further ahead; gives whether that went well everywhere."""
    return planning.extend_horizon(timezone.now())
