"""Pages while the database does not answer: none hangs for ever, what was typed is kept, and the health page still opens."""

import sqlite3
import sys
from threading import BoundedSemaphore
from time import monotonic

from django.conf import settings
from django.db import InterfaceError, OperationalError
from django.http import HttpResponse
from django.template.loader import render_to_string
from django.views.defaults import server_error

from shared.within import answered_within

ANSWER_WITHIN = 10  # seconds; no statement of a page takes so long
STUCK_AFTER = 3  # seconds in which no page begins or ends, with as many under way as may be
RETRY_AFTER = 10  # seconds
SECRET = "password"  # in the names of what is not to be written into a page
KEY = "key"  # the field that makes sending a form twice harmless
BUSY = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}
PASSING = ("08", "40", "53", "55", "57")  # classes of SQLSTATE: connection, conflict, resources, locks, shutdown


class Gate:
    """Lets so many in at once. Once these are stuck, whoever comes is turned away and need not wait."""

    def __init__(self, places: int):
        self._places, self._moved = BoundedSemaphore(places), monotonic()

    def enter(self) -> bool:
        """Whether there is a place, or one comes free; False where nothing moves."""
        while not self._places.acquire(timeout=max(0, self._moved + STUCK_AFTER - monotonic())):
            if monotonic() >= self._moved + STUCK_AFTER:
                return False
        self._moved = monotonic()
        return True

    def leave(self) -> None:
        self._moved = monotonic()
        self._places.release()


def pages_that_end(get_response):
    """A page waits for a silent database only so long, and some places are never taken by pages that wait."""
    gate = Gate(settings.PAGES_AT_ONCE)

    def middleware(request):
        if not gate.enter():
            return unavailable(request, nothing_saved=True)
        try:
            with answered_within(ANSWER_WITHIN):
                return get_response(request)
        finally:
            gate.leave()

    return middleware


def broken(request, *args, **kwargs):
    """What is shown instead of a page that failed: whether it is worth trying again, or something of ours is broken."""
    error = sys.exc_info()[1]
    if isinstance(error, OperationalError | InterfaceError) and passing(error):
        return unavailable(request, nothing_saved=is_busy(error))
    return server_error(request)


def passing(error: Exception) -> bool:
    """Whether the database was not there or had no time, rather than being asked for what it does not have."""
    if isinstance(error.__cause__, sqlite3.Error):
        return is_busy(error)
    state = getattr(error.__cause__, "sqlstate", None)
    return state is None or state.startswith(PASSING)


def is_busy(error: Exception) -> bool:
    """SQLite alone: another program writes, so that nothing of ours has been written."""
    return getattr(error.__cause__, "sqlite_errorcode", 0) & 0xFF in BUSY


def unavailable(request, nothing_saved: bool) -> HttpResponse:
    """Try again. What a form sent is in the page, to be sent again as it was."""
    sent = typed(request)
    context = {
        "writing": request.method == "POST", "nothing_saved": nothing_saved, "sent": sent, "address": request.get_full_path(),
        "once": any(name == KEY for name, _ in sent),
    }  # fmt: skip
    # Without the request: who is signed in cannot be read.
    response = HttpResponse(render_to_string("503.html", context), status=503, headers={"Retry-After": RETRY_AFTER})
    if request.headers.get("HX-Request") == "true":  # a part of a page: what only looks on lets the page stay as it is
        name, how = ("HX-Retarget", "body") if request.method == "POST" else ("HX-Reswap", "none")
        response.headers[name] = how
    return response


def typed(request) -> list[tuple[str, str]]:
    """What a form sent, unless there is a file or a secret in it: then only the browser can send it again."""
    try:
        sent = [(name, value) for name, values in request.POST.lists() for value in values]
        return [] if request.FILES or any(SECRET in name for name, _ in sent) else sent
    except OSError:  # the visitor has gone meanwhile
        return []
