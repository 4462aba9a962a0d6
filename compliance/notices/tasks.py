"""What the schedule, a failed check and a filled outbox start. Each may come twice, at the same moment or late without harm."""

from datetime import timedelta

from celery import shared_task
from django.conf import settings
from django.db import transaction
from django.dispatch import receiver
from django.utils import timezone

from compliance.checks.signals import check_failed
from compliance.reminders import database_clock, heartbeats
from compliance.reminders.tasks import TASK, soon

from . import delivery
from .enqueue import enqueue, enqueue_due_notices
from .message_sources import failures
from .signals import outbox_filled

JUST_NOW = timedelta(minutes=1)
SHARE = 0.3  # of the time after which a task counts as lost, so that the last mail of a turn has time enough


@shared_task(name="notices.fill", **TASK)
def fill() -> None:
    """Write down who is to be told what."""
    heartbeats.beat("notices", written=enqueue_due_notices(database_clock.now()))


@shared_task(name="notices.send", **TASK)
def send() -> None:
    """Send what waits; where the mail server does not answer, the next turn tries again."""
    delivery.send_waiting(database_clock.now, seconds=min(delivery.TURN, SHARE * settings.REDELIVER_AFTER))


@receiver(check_failed)
def enqueue_failed_check(check, **given) -> None:
    """In the transaction of the check. What goes wrong here is logged, and left to `fill`: no check is lost by it. So is one that
    the demo pretends was recorded earlier."""
    now = timezone.now()
    if now - check.recorded_at < JUST_NOW:
        with transaction.atomic():
            enqueue(failures(now, check.pk), now)


@receiver(outbox_filled)
def send_by_worker(**given) -> None:
    soon(send)
