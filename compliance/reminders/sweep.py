"""Writing down each due time that has come, once, with a constant number of set-based statements, however much is due."""

from datetime import datetime

from django.db import transaction

from compliance.checks.fallen import write_down


def sweep(now: datetime) -> int:
    """Write down what has fallen due by `now` and is not written yet; gives how many reminders that made.

    Safe to run again and at the same time.
    """
    with transaction.atomic():
        return write_down(now)
