"""What the schedule does for notices. Each task may come twice, at the same moment or late without harm."""

from time import monotonic

from celery import shared_task
from django.conf import settings

from compliance.reminders import database_clock, heartbeats
from compliance.reminders.tasks import TASK, soon

from . import filling, gathering, passwords, sending

SHARE = 0.65  # of the time after which a task counts as lost: it is stopped a little later (compliance/celery.py)
BESIDE = 1.5  # sweeps that may be late by it where one thread sweeps and sends; thrice as many, and health says so
AT_LEAST = 10  # seconds


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
    until = monotonic() + seconds_for_sending()
    while (left := until - monotonic()) > 0:
        if sending.send_batch(database_clock.now, seconds=left) < sending.BATCH:
            return


def seconds_for_sending() -> float:
    """How long a turn may take, whatever the mail server does. Without a broker the sweep waits meanwhile, and so it is less."""
    whole = SHARE * settings.REDELIVER_AFTER
    return whole if settings.BROKER else min(whole, max(AT_LEAST, BESIDE * settings.SWEEP_EVERY))


def tell_at_once() -> None:
    """Tell of checks that failed and passwords that were set just now: by a worker where there is a broker, else here, and
    then send it.

    Asks two questions where there is nothing to tell. Safe to do twice and beside the schedule, which tells of them as well.
    """
    now = database_clock.now()
    if not gathering.untold_failures(now).exists() and not passwords.untold_passwords(now).exists():
        return
    if settings.BROKER:
        soon(fill)
    else:
        fill()
        send()
