"""What works inside the process that serves the pages: the bell, and the schedule where there is no broker and so no worker."""

from collections.abc import Iterator
from contextlib import contextmanager

from celery import current_app
from celery.beat import EmbeddedService
from django.conf import settings

from .bell import bell

EVERYWHERE, HERE = {"", "0.0.0.0", "::"}, {"127.0.0.1", "localhost", "::1", "[::1]"}
STOP_WITHIN = 10  # seconds; a task that takes longer is left, and done again by whoever keeps the schedule next


@contextmanager
def schedule_here() -> Iterator[bool]:
    """Keep the schedule in a thread while the block runs; with a broker, workers and a beat of their own do it."""
    if settings.BROKER:
        yield False
        return
    beat = EmbeddedService(
        current_app._get_current_object(), thread=True, scheduler_cls=current_app.conf.beat_scheduler
    )
    beat.start()
    try:
        yield True
    finally:
        beat.service.stop()
        beat.join(STOP_WITHIN)


def served_at(host: str, port: int) -> str:
    """An address to type: of a server that listens everywhere, the first host name that is answered and not this machine's."""
    if host in EVERYWHERE:
        named = [name for name in settings.ALLOWED_HOSTS if name not in HERE and name[:1] not in {"*", "."}]
        host = next(iter(named), "127.0.0.1")
    return f"http://{f'[{host}]' if ':' in host and '[' not in host else host}:{port}"


def link_to(address: str) -> None:
    """Have mails and feeds that are made in this process lead there, unless the settings say where."""
    settings.ADDRESS = settings.ADDRESS_GIVEN or address


@contextmanager
def bell_heard() -> Iterator[None]:
    """Whatever was rung for in the block is done, if that does not take too long, before the process ends."""
    try:
        yield
    finally:
        bell.take_down(STOP_WITHIN)
