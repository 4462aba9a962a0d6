"""Saving what has to be the only one of its name."""

from collections.abc import Callable
from typing import TypeVar

from django.db import IntegrityError, models, transaction

Record = TypeVar("Record", bound=models.Model)


def save_checked(record: Record, check: Callable[[Record], object] = models.Model.full_clean) -> Record:
    """Check a record and save it. Raises ValidationError as `check` does.

    Of two people who save the same name at the same moment both pass the check, and the second meets the constraint. Asked
    again, the check sees what the first one saved, and says so in its usual words.
    """
    check(record)
    try:
        with transaction.atomic():
            record.save()
    except IntegrityError:
        check(record)
        raise
    return record
