"""Few places for what costs much, so that it leaves the others to everybody else.

A process serves so many pages at once. What takes seconds of its processor (drawing drift, printing, files in and out,
looking at a password) goes through a pool here: so many do it at once, a few more wait for a moment, and who comes then is
turned away in words instead of taking a place that a page of the day needs.
"""

from collections import Counter
from collections.abc import Callable
from functools import partial, wraps
from threading import Condition
from weakref import finalize

from django.http import FileResponse

NUMBERS = {1: "One person is", 2: "Two people are", 3: "Three people are"}


class Crowded(Exception):
    """No place came free in time. The message says who has them."""


class RequestSlots:
    """So many at once, and so many more that wait so many seconds."""

    def __init__(self, most: int, waiting: int, patience: float):
        self.most, self.waiting, self.patience = most, waiting, patience
        self._inside: Counter[str] = Counter()
        self._waiting, self._moved = 0, Condition()

    def take(self, doing: str) -> None:
        """Raises Crowded."""
        with self._moved:
            if (self._waiting or not self._is_free()) and not self._comes_free():
                raise Crowded(self._who())
            self._inside[doing] += 1

    def give_back(self, doing: str) -> None:
        with self._moved:
            self._inside[doing] -= 1
            self._moved.notify()

    def _is_free(self) -> bool:
        return self._inside.total() < self.most

    def _comes_free(self) -> bool:
        if self._waiting >= self.waiting:
            return False
        self._waiting += 1
        try:
            return self._moved.wait_for(self._is_free, self.patience)
        finally:
            self._waiting -= 1

    def _who(self) -> str:
        told = [f"{NUMBERS.get(n, f'{n} people are')} {doing}" for doing, n in sorted(self._inside.items()) if n]
        first, *others = told or ["Others are waiting"]
        return " and ".join([first, *(each[0].lower() + each[1:] for each in others)]) + " already"


# Those who are inside and those who wait have a thread each: settings.PAGES_AT_ONCE leaves some to all other pages.
HEAVY = RequestSlots(most=2, waiting=1, patience=3)
# Apart, so that many who look at drift keep nobody from bringing in readings.
FILES = RequestSlots(most=1, waiting=1, patience=3)
PASSWORDS = RequestSlots(most=2, waiting=4, patience=8)


def few(places: RequestSlots, doing: str, methods=("GET", "HEAD", "POST")) -> Callable:
    """For a view: what is asked of it by these methods takes one of the places until its answer is made."""

    def decorate(view):
        @wraps(view)
        def within(request, *args, **kwargs):
            if request.method not in methods:
                return view(request, *args, **kwargs)
            places.take(doing)
            try:
                response = view(request, *args, **kwargs)
            except BaseException:
                places.give_back(doing)
                raise
            _give_back_after(response, partial(places.give_back, doing))
            return response

        return within

    return decorate


def _give_back_after(response, give_back: Callable) -> None:
    """At once; of what is made while it is sent, when it is closed or, where another answer took its place, forgotten."""
    if response.streaming and not isinstance(response, FileResponse):
        response._resource_closers.append(finalize(response, give_back))  # which does it once
    else:
        give_back()
