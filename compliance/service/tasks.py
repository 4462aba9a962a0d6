"""What is cleared away by itself."""

from celery import shared_task
from django.core.management import call_command

from compliance.readings.importing.uploads import forget_unanswered


@shared_task(name="service.tidy")
def tidy() -> None:
    """Delete what has run out: sessions, and files to bring in that nobody said yes or no to."""
    call_command("clearsessions")
    forget_unanswered()
