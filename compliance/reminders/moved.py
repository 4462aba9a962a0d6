"""Where plans and calendars move due times, the ends of what is open move with them, in the same transaction."""

from django.dispatch import receiver

from compliance.checks.planning import due_times_moved
from shared import clock

from .sweep import settle_ends


@receiver(due_times_moved)
def move_ends(site_ids, **_) -> None:
    settle_ends(site_ids, clock.now())
