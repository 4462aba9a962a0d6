"""What works inside the process of `start`: the thread that does the tasks, where there is no broker and so no worker."""

import logging
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from copy import deepcopy
from threading import Event, Thread
from time import monotonic

from celery import current_app
from django.conf import settings
from django.db import connection
from django.dispatch import receiver

from compliance.notices.signals import outbox_filled
from shared.time_limits import limit_statements

EVERYWHERE, HERE = {"", "0.0.0.0", "::"}, {"127.0.0.1", "localhost", "::1", "[::1]"}
STOP_WITHIN = 10  # seconds; a task that takes longer is left, and done again by whoever does it next
SEND = "notices.send"
logger = logging.getLogger(__name__)


class TaskThread(Thread):
    """Does tasks, each every so many seconds by its name, one after the other."""

    def __init__(self, every: Mapping[str, float]):
        super().__init__(name="tasks", daemon=True)
        self._every, self._due = every, dict.fromkeys(every, 0.0)
        self._woken, self._over = Event(), False

    def send_now(self) -> None:
        """Have what waits in the outbox sent. Comes back at once."""
        self._due[SEND] = 0.0
        self._woken.set()

    def stop(self, seconds: float) -> None:
        """Begin no further task, and wait so many seconds for the one in hand."""
        self._over = True
        self._woken.set()
        self.join(seconds)

    def run(self) -> None:
        connection.settings_dict = deepcopy(connection.settings_dict)  # of this thread alone
        limit_statements(connection.settings_dict, settings.TASK_STATEMENT)
        while not self._over:
            self._woken.wait(max(0.0, min(self._due.values()) - monotonic()))
            self._woken.clear()
            for name in [name for name, at in self._due.items() if at <= monotonic()]:
                self._due[name] = monotonic() + self._every[name]
                if not self._over:
                    self._do(name)

    def _do(self, name: str) -> None:
        try:
            current_app.tasks[name].apply()  # logs what the task raises
            connection.close()
        except Exception:  # the others, and its own next time, must not be lost by it
            logger.exception("%s failed, and is tried again in its time", name)


running: TaskThread | None = None


@receiver(outbox_filled)
def send_here(**given) -> None:
    if running:
        running.send_now()


@contextmanager
def tasks_here() -> Iterator[bool]:
    """Do what Celery's schedule names in a thread while the block runs; with a broker, workers and a beat of their own do it."""
    global running
    if settings.BROKER:
        yield False
        return
    running = TaskThread({entry["task"]: entry["schedule"] for entry in current_app.conf.beat_schedule.values()})
    running.start()
    try:
        yield True
    finally:
        running.stop(STOP_WITHIN)
        running = None


def served_at(host: str, port: int) -> str:
    """An address to type: of a server that listens everywhere, the first host name that is answered and not this machine's."""
    if host in EVERYWHERE:
        named = [name for name in settings.ALLOWED_HOSTS if name not in HERE and name[:1] not in {"*", "."}]
        host = next(iter(named), "127.0.0.1")
    return f"http://{f'[{host}]' if ':' in host and '[' not in host else host}:{port}"


def link_to(address: str) -> None:
    """Have mails and feeds that are made in this process lead there, unless the settings say where."""
    settings.ADDRESS = settings.ADDRESS_GIVEN or address
