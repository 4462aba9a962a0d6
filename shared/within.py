"""Asking what may never answer."""

from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from contextvars import ContextVar
from threading import BoundedSemaphore, Thread

from django.db import connections

GIVEN_UP_AFTER = 20  # seconds, by when nobody waits for the answer any more
_room = BoundedSemaphore(8)  # questions still without an answer; a frozen server must not pile up threads
_patience: ContextVar[float | None] = ContextVar("patience", default=None)


@contextmanager
def answered_within(seconds: float | None) -> Iterator[None]:
    """In the block the database must answer each statement within so many seconds, or django.db.OperationalError is raised.

    `None` waits as long as it takes. SQLite, where no server is asked, has its own limit (`timeout` in the settings).
    """
    before = _patience.set(seconds)
    try:
        yield
    finally:
        _patience.reset(before)


def patience() -> float | None:
    """For how many seconds the database may be silent here; for ever, if none."""
    return _patience.get()


def ask(question: Callable) -> Future:
    """Put the question in a thread of its own, with its own connection to the database.

    Wait for it with `result(seconds)`, which raises TimeoutError, or what the question raised.
    """
    answer = Future()
    if _room.acquire(blocking=False):
        Thread(target=_put, args=[question, answer], daemon=True).start()
    else:
        answer.set_exception(TimeoutError("too many questions are still without an answer"))
    return answer


def _put(question: Callable, answer: Future) -> None:
    try:
        with answered_within(GIVEN_UP_AFTER):
            answer.set_result(question())
    except BaseException as error:
        answer.set_exception(error)
    finally:
        connections.close_all()
        _room.release()
