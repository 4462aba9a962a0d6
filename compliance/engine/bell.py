"""The bell: what was just put into the outbox is sent at once, where there is no broker by a thread of the process that did it.

Nobody waits for it, and nothing that goes wrong there reaches who rang: the schedule looks for the same things anyway.
"""

import logging
from collections.abc import Callable
from threading import Event, Lock, Thread

from django.conf import settings
from django.db import connections
from django.dispatch import receiver

from compliance.notices.signals import outbox_filled
from compliance.notices.tasks import send

REST = 1  # seconds from one answer to the next, however often it is rung meanwhile
logger = logging.getLogger(__name__)


class Bell:
    """Answered by one thread, begun when it is first rung: also in a process that a server forked off after loading us."""

    def __init__(self, answer: Callable[[], None], rest: float = REST):
        self._answer, self._rest = answer, rest
        self._hangs, self._over = False, Event()
        self._rung, self._one = Event(), Lock()
        self._thread: Thread | None = None

    def hang(self) -> None:
        """From now on it can be heard. Only where pages are served; in tests and commands nobody answers."""
        self._hangs = True

    def ring(self) -> None:
        """Have it answered soon, once for all that ring meanwhile. Comes back at once."""
        if not self._hangs:
            return
        self._rung.set()
        with self._one:
            if self._thread is None or not self._thread.is_alive():
                self._thread = Thread(target=self._listen, name="bell", daemon=True)
                self._thread.start()

    def take_down(self, within: float) -> None:
        """Answer what was rung for until now and no more; wait so many seconds for that."""
        self._hangs = False
        self._over.set()
        self._rung.set()
        if self._thread is not None:
            self._thread.join(within)

    def _listen(self) -> None:
        last = False
        while not last:
            self._rung.wait()
            self._rung.clear()
            last = self._over.is_set()
            try:
                self._answer()
            except Exception as error:  # the next ring must find somebody who listens
                logger.warning("What was rung for is left to the schedule: %s: %s", type(error).__name__, error)
            finally:
                connections.close_all()
            self._over.wait(self._rest)


bell = Bell(send)


@receiver(outbox_filled)
def send_here(**given) -> None:
    if not settings.BROKER:
        bell.ring()
