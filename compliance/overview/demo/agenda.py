"""What happens when in the demo: acts in the order of their times, with the clock of the record set to each."""

from collections.abc import Callable
from datetime import datetime
from heapq import heappop, heappush
from itertools import count

from shared import clock


class Agenda:
    """Acts may put further ones in; those from `ends` on never happen."""

    def __init__(self, ends: datetime):
        self.ends = ends
        self._order = count()
        self._waiting: list[tuple[datetime, int, Callable[[datetime], object]]] = []

    def put(self, at: datetime, act: Callable[[datetime], object]) -> None:
        heappush(self._waiting, (at, next(self._order), act))

    def run(self) -> None:
        """Do everything in its order."""
        while self._waiting and self._waiting[0][0] < self.ends:
            at, _, act = heappop(self._waiting)
            with clock.pretend(at):
                act(at)
