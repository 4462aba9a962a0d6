"""Asking what may never answer, and doing what nobody waits for."""

from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from contextvars import ContextVar
from threading import BoundedSemaphore, Lock, Thread
from time import monotonic

from django.db import connections

GIVEN_UP_AFTER = 20  # seconds, by when nobody waits for the answer any more
SHARED_FOR = 1  # seconds; who comes later asks anew, for the server may have come back since
MOST = 8  # without an answer at once; a frozen server must not pile up threads

_waiting: dict[Callable, list[tuple[float, Future]]] = {}  # when each was put that has no answer yet, the latest last
_lock = Lock()
_aside = BoundedSemaphore(MOST)
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

    Whoever asks the same while it has just been put gets the same answer, so that many at once are no more than one. Wait for
    it with `result(seconds)`, which raises TimeoutError, or what the question raised.
    """
    answer = Future()
    with _lock:
        before = _waiting.setdefault(question, [])
        if before and monotonic() - before[-1][0] < SHARED_FOR:
            return before[-1][1]
        if len(before) == MOST:
            answer.set_exception(TimeoutError("too many questions are still without an answer"))
            return answer
        before.append((monotonic(), answer))
    Thread(target=_put, args=[question, answer], daemon=True).start()
    return answer


def _put(question: Callable, answer: Future) -> None:
    try:
        with answered_within(GIVEN_UP_AFTER):
            answer.set_result(question())
    except BaseException as error:
        answer.set_exception(error)
    finally:
        connections.close_all()
        with _lock:
            left = [each for each in _waiting.pop(question) if each[1] is not answer]
            if left:
                _waiting[question] = left


def aside(work: Callable) -> None:
    """Do it in a thread of its own; not at all while too much of the kind is still being done."""
    if _aside.acquire(blocking=False):
        Thread(target=_do, args=[work], daemon=True).start()


def _do(work: Callable) -> None:
    try:
        with answered_within(GIVEN_UP_AFTER):
            work()
    finally:
        connections.close_all()
        _aside.release()
