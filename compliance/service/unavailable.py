"""Pages while the database does not answer: none hangs for ever, what was typed is kept, and the health page still opens."""

import sys
from threading import BoundedSemaphore
from time import monotonic

from django.conf import settings
from django.db import connection
from django.views.defaults import server_error

from shared.request_slots import Crowded
from shared.trouble import trouble_of

from .unavailable_page import Outage, outage_of, unavailable
from .write_tracker import WriteTracker

STUCK_AFTER = 3  # seconds in which no page begins or ends, with as many under way as may be
TOO_MUCH = Outage(
    "There is too much to do just now",
    "So many pages are being made at once that yours found no place. What was saved before is safe.",
)


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
    """Pages that wait for the database, which has its limits (shared/time_limits.py), leave a place for the health page."""
    gate = Gate(settings.PAGES_AT_ONCE)

    def middleware(request):
        if not gate.enter():
            return unavailable(request, TOO_MUCH)
        try:
            return watched(request)
        finally:
            gate.leave()

    def watched(request):
        if request.method != "POST":
            return get_response(request)
        request.writes = WriteTracker()
        with connection.execute_wrapper(request.writes):
            return get_response(request)

    middleware.process_exception = turned_away
    return middleware


def turned_away(request, error: Exception):
    """For a view that found no place among the few for its kind (shared/request_slots.py). It has begun nothing."""
    if isinstance(error, Crowded):
        return unavailable(request, Outage(str(error), "No more at once, so that everybody else's pages come."))
    return None


def broken(request, *args, **kwargs):
    """What is shown instead of a page that failed: whether it is worth trying again, or something of ours is broken."""
    trouble = trouble_of(sys.exc_info()[1])
    if trouble is None:
        return server_error(request)
    return unavailable(request, outage_of(trouble, getattr(request, "writes", None)))
