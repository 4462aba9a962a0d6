"""Writing down the readings of rounds that have fallen due."""

from datetime import datetime

from django.db import transaction

from compliance.plans.fallen import forget_taken_rounds, write_down_rounds


def sweep(now: datetime) -> int:
    """Gives how many that made. Safe to run again and at the same time."""
    with transaction.atomic():
        made = write_down_rounds(now)
        forget_taken_rounds(now)
    return made
