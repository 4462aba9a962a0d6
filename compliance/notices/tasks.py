"""What the schedule, a failed check and a filled outbox start. Each may come twice, at the same moment or late without harm."""

import logging
from collections.abc import Callable
from datetime import datetime, timedelta

from celery import current_app, shared_task
from celery.exceptions import OperationalError as NoBroker
from django.conf import settings
from django.db import transaction
from django.dispatch import receiver
from django.utils import timezone

from compliance.checks.signals import check_failed, probe_gone
from shared.append_only import Fact

from . import delivery
from .enqueue import enqueue, enqueue_due_notices
from .message_sources import Gathered, failures, gone
from .signals import outbox_filled

JUST_NOW = timedelta(minutes=1)
RING = {"socket_connect_timeout": 1, "socket_timeout": 1, "max_retries": 0}  # seconds, once: a page waits for it
SHARE = 0.3  # of the time after which a task counts as lost, so that the last mail of a turn has time enough
logger = logging.getLogger(__name__)


@shared_task(name="notices.fill")
def fill() -> None:
    """Write down who is to be told what."""
    enqueue_due_notices(timezone.now())


@shared_task(name="notices.send")
def send() -> None:
    """Send what waits; where the mail server does not answer, the next turn tries again."""
    delivery.send_waiting(seconds=min(delivery.TURN, SHARE * settings.REDELIVER_AFTER))


@receiver(check_failed)
def enqueue_failed_check(check, **given) -> None:
    _enqueue_at_once(failures, check)


@receiver(probe_gone)
def enqueue_gone_probe(event, **given) -> None:
    _enqueue_at_once(gone, event)


def _enqueue_at_once(source: Callable[[datetime, int], Gathered], fact: Fact) -> None:
    """In the transaction of the fact. What goes wrong here is logged, and left to `fill`: no fact is lost by it. So is one that
    the demo pretends was recorded earlier, which is told unless it was looked for failed checks before."""
    now = timezone.now()
    if now - fact.recorded_at < JUST_NOW:
        with transaction.atomic():
            enqueue(source(now, fact.pk), now)


@receiver(outbox_filled)
def send_by_worker(**given) -> None:
    """Without waiting for the schedule, which makes up for it where the broker does not answer."""
    if not settings.BROKER:
        return
    try:
        with current_app.connection_for_write(settings.BROKER, transport_options=RING) as broker:
            send.apply_async(connection=broker, retry=False)
    except NoBroker as error:
        logger.warning("The broker does not answer; what is in the outbox waits for the schedule: %s", error)
