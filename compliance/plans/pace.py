"""How much is worked out in one transaction, so that nobody who wants to write waits long for it, and what it holds meanwhile."""

import logging
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from time import monotonic
from typing import TypeVar

from django.db import DatabaseError, connection, transaction

from sites.models import Site

LONG = 0.1  # seconds
Item = TypeVar("Item")
logger = logging.getLogger(__name__)


def lock_sites(site_ids: Iterable[int]) -> None:
    """Hold sites until the transaction ends: whoever sets something for one of them waits. On SQLite who writes at all does."""
    if connection.features.has_select_for_update:
        held = Site.objects.select_for_update(no_key=True).filter(pk__in=list(site_ids))
        list(held.order_by("pk").values_list("pk"))


def went_well(act: Callable[[], object], words: str) -> bool:
    """Whether it did. What cannot be worked out for one is logged with these words, and holds up no others."""
    try:
        act()
    except DatabaseError:
        raise
    except Exception:
        logger.exception(words)
        return False
    return True


def batches(sizes: Iterable[tuple[Item, int]], most: int) -> Iterator[list[Item]]:
    """What is worked out together: items in order, of which the sizes are no more than `most`, or one that is larger."""
    some, many = [], 0
    for item, size in sizes:
        if some and many + size > most:
            yield some
            some, many = [], 0
        some.append(item)
        many += size
    if some:
        yield some


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
