"""From when until when each version of something counted."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import zip_longest
from typing import Generic, TypeVar

Version = TypeVar("Version")


@dataclass(frozen=True, slots=True)
class Counted(Generic[Version]):
    """A version that counted from `since` up to `until`; None: nothing that is known ends it."""

    version: Version
    since: datetime
    until: datetime | None

    def meets(self, start: datetime, end: datetime | None) -> bool:
        """Whether any of that time lies between two moments."""
        return (end is None or self.since < end) and (self.until is None or self.until > start)


def counted(versions: Iterable[Version], begins: Callable[[Version], datetime]) -> Iterator[Counted[Version]]:
    """Those that were in force, of versions in the order in which they begin; of those that begin together the last counts."""
    versions = list(versions)
    for version, after in zip_longest(versions, versions[1:]):
        since, until = begins(version), begins(after) if after else None
        if version.in_force and since != until:
            yield Counted(version, since, until)
