"""Asking what may never answer."""

from collections.abc import Callable
from concurrent.futures import Future
from threading import BoundedSemaphore, Thread

from django.db import connections

_room = BoundedSemaphore(8)  # questions still without an answer; a frozen server must not pile up threads


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
        answer.set_result(question())
    except BaseException as error:
        answer.set_exception(error)
    finally:
        connections.close_all()
        _room.release()
