"""Celery's beat, of which any number may run on one database while only one at a time keeps the schedule.

Who may is told by a lease; when each task was last sent is kept beside it, so that whoever comes next goes on from there.
All of it is safe to happen twice: the lease saves work, the tasks themselves make sure that nothing is doubled.
"""

import logging
import os
import socket
import time
import uuid
from datetime import UTC, datetime

from celery.beat import Scheduler
from django.conf import settings
from django.db import connections

from compliance.reminders import heartbeats, leases
from shared.within import answered_within

from .health import waiting_tasks

LEASE = "schedule"
NEVER = datetime(2000, 1, 1, tzinfo=UTC)
CROWD = 1000  # tasks that no worker has taken
AGAIN_AFTER = 5  # seconds, when the database or the broker did not answer
ANSWER_WITHIN = 10  # seconds for each statement of our own
logger = logging.getLogger(__name__)


def crowded() -> bool:
    """Whether so much waits for a worker that one thing more would only fill the broker. Raises what the broker raises."""
    return bool(settings.BROKER) and waiting_tasks() >= CROWD


class LeasedScheduler(Scheduler):
    """Sends what is due while it holds the lease. Keeps no connection to the database between two ticks."""

    max_interval = 5

    def __init__(self, *args, **kwargs):
        self.holder = f"{socket.gethostname()}:{os.getpid()}:{uuid.uuid4().hex[:8]}"
        self.lease_seconds = max(3, settings.SWEEP_EVERY)
        self.ours, self.asked_at, self.clock = False, None, time.time()
        self.ticking = False
        super().__init__(*args, **kwargs)

    def tick(self, *args, **kwargs):
        """One due task at most; gives the seconds until the next tick. Whatever fails is tried again."""
        self.ticking = True
        try:
            if self._set_back():
                self._heap = None  # which is in order of a time that is yet to come again
            with answered_within(ANSWER_WITHIN):
                return super().tick(*args, **kwargs) if self._may() else min(self.max_interval, self.lease_seconds / 3)
        except Exception as error:  # the schedule must outlive whatever befalls a tick
            logger.warning("The schedule could not go on and will try again: %s: %s", type(error).__name__, error)
            self.ours, self.asked_at = False, None
            return min(self.max_interval, AGAIN_AFTER)
        finally:
            self.ticking = False
            connections.close_all()

    def apply_entry(self, entry, producer=None):
        """Send a task, if the schedule is still ours; then note that it was. Raises what keeps it from being sent."""
        self.ours = leases.hold(LEASE, holder=self.holder, seconds=self.lease_seconds)
        if self.ours:
            if not crowded():
                self.apply_async(entry, producer=producer, advance=False)
            sent = {known.name: known.last_run_at.isoformat() for known in self.schedule.values()}
            heartbeats.beat(LEASE, holder=self.holder, sent=sent)

    def close(self):
        """Let another keep the schedule at once. Never raises: the process is about to end.

        Celery calls it when it is told to stop, in the middle of whatever is being done, and once more after that. In the
        middle of a statement the connection cannot be used, and waiting for it would be waiting for ever.
        """
        if self.ticking:
            return
        try:
            super().close()
            with answered_within(ANSWER_WITHIN):
                leases.release(LEASE, holder=self.holder)
        except Exception as error:
            logger.warning("The schedule was left without a word: %s: %s", type(error).__name__, error)
        finally:
            connections.close_all()

    def _set_back(self) -> bool:
        before, self.clock = self.clock, time.time()
        return self.clock < before

    def _may(self) -> bool:
        """Whether the schedule is ours; asks the database no oftener than the lease needs."""
        now = time.monotonic()
        if self.asked_at is not None and now - self.asked_at < self.lease_seconds / 3:
            return self.ours
        grant = leases.hold if self.ours else leases.take
        had, self.ours = self.ours, grant(LEASE, holder=self.holder, seconds=self.lease_seconds)
        self.asked_at = now
        if self.ours and not had:
            self._go_on()
        return self.ours

    def _go_on(self) -> None:
        """From where the last one stopped, which may have been this one. A task never sent is due at once."""
        sent = heartbeats.said(LEASE).get("sent", {})
        for entry in self.schedule.values():
            entry.last_run_at = datetime.fromisoformat(sent[entry.name]) if entry.name in sent else NEVER
        self._heap = None

    def _ensure_connected(self):
        return self.connection.ensure_connection(max_retries=1, interval_start=0, interval_step=0)
