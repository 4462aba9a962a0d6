"""What the schedule does for notices. Each task may come twice, at the same moment or late without harm."""

from time import monotonic

from celery import shared_task
from django.conf import settings

from compliance.checks.models import Verdict
from compliance.reminders import database_clock, heartbeats
from compliance.reminders.tasks import TASK, soon

from . import filling, sending

SHARE = 0.3  # of the time after which a task counts as lost


@shared_task(name="notices.fill", **TASK)
def fill() -> None:
    """Write down who is to be told what, then have it sent."""
    written = filling.fill(database_clock.now())
    heartbeats.beat("notices", written=written)
    if written:
        soon(send)


@shared_task(name="notices.send", **TASK)
def send() -> None:
    """Send what waits, batch after batch; where the mail server does not answer, the next turn tries again."""
    until = monotonic() + SHARE * settings.REDELIVER_AFTER
    while (left := until - monotonic()) > 0:
        if sending.send_batch(database_clock.now, seconds=left) < sending.BATCH:
            return


def told_at_once(sender, instance, created, **kwargs) -> None:
    """A failed check is told as soon as it is recorded, or by the schedule within a minute. Nothing here can fail the check."""
    if created and instance.verdict == Verdict.OUT_OF_TOLERANCE:
        soon(fill)
