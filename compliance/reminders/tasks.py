"""What the schedule does again and again. A task takes ids, reads them afresh and calls one action; it may come twice, at the
same moment or not at all without harm, because what is to be done is in the database.
"""

from celery import shared_task
from django.utils import timezone

from compliance.checks.unfinished import store_left
from sites.models import Site

from . import sweep as sweeping
from .planning import roll_over
from .queries import behind

SITES = 200  # a batch


@shared_task(name="reminders.sweep")
def sweep() -> None:
    """Write down what has fallen due since the last time, and keep the checks that somebody left with a number beyond the
    tolerance."""
    now = timezone.now()
    sweeping.sweep(now)
    store_left(now)


@shared_task(name="reminders.expand_slots")
def expand_slots(site_ids: list[int] | None = None) -> bool:
    """Look up due times further ahead at these sites; without ids, hand out all sites in batches.

    Gives whether no site is behind: a batch that fails again and again is not hidden by the others.
    """
    if site_ids is None and (everywhere := list(Site.objects.order_by("pk").values_list("pk", flat=True))):
        for start in range(0, len(everywhere), SITES):
            expand_slots.delay(everywhere[start : start + SITES])
        return False
    roll_over(site_ids or [])
    return not behind(timezone.now()).exists()
