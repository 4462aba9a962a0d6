"""What the schedule does again and again. A task takes ids, reads them afresh and calls one action; it may come twice, at the
same moment or not at all without harm, because what is to be done is in the database.
"""

import logging

from celery import shared_task
from django.utils import timezone

from compliance.checks.unfinished import store_left
from sites.models import Site

from . import sweep as sweeping
from .planning import BATCH, roll_over

logger = logging.getLogger(__name__)


@shared_task(name="reminders.sweep")
def sweep() -> None:
    """Write down what has fallen due since the last time, and keep the checks that somebody left with a number beyond the
    tolerance."""
    now = timezone.now()
    sweeping.sweep(now)
    store_left(now)


@shared_task(name="reminders.expand_slots")
def expand_slots(site_ids: list[int] | None = None) -> bool:
    """Look up due times further ahead at these sites, or everywhere, batch by batch: one that fails stops no other.

    Gives whether none failed.
    """
    chosen = list(Site.objects.order_by("pk").values_list("pk", flat=True)) if site_ids is None else site_ids
    return all([_reach_ahead(chosen[start : start + BATCH]) for start in range(0, len(chosen), BATCH)])


def _reach_ahead(site_ids: list[int]) -> bool:
    try:
        roll_over(site_ids)
    except Exception:
        logger.exception("Due times ahead: sites %s to %s are left for the next time", site_ids[0], site_ids[-1])
        return False
    return True
