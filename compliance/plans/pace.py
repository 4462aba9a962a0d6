"""How much is worked out in one transaction, so that nobody who wants to write waits long for it, and what it holds meanwhile."""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from time import monotonic
from typing import TypeVar

from django.db import connection, transaction

from sites.models import Site

LONG = 0.1  # seconds
Item = TypeVar("Item")


def lock_sites(site_ids: Iterable[int]) -> None:
    """Hold sites until the transaction ends: whoever sets something for one of them waits. On SQLite who writes at all does."""
    if connection.features.has_select_for_update:
        held = Site.objects.select_for_update(no_key=True).filter(pk__in=list(site_ids))
        list(held.order_by("pk").values_list("pk"))


@dataclass(slots=True)
class Pace:
    """So many at a time: fewer where the last took long, as they do where many pages are made in the same process; or more."""

    size: int
    most: int

    def in_turn(self, items: Sequence[Item]) -> Iterator[Sequence[Item]]:
        start = 0
        while some := items[start : start + self.size]:
            start += len(some)
            yield some

    @contextmanager
    def transaction(self) -> Iterator[None]:
        with transaction.atomic():
            begun = monotonic()  # by when it is this one's turn
            yield
        took = monotonic() - begun
        if took > LONG:
            self.size = max(self.size // 2, 1)
        elif took < LONG / 4:
            self.size = min(self.size * 2, self.most)
