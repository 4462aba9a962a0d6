"""What somebody was called at a moment: a pure decision from what they are called now and the changes of it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol


@dataclass(frozen=True, slots=True)
class Name:
    name: str
    initials: str

    def __str__(self):
        return self.name


class NameChange(Protocol):
    """A name from a moment on, and the one before it; that is empty for the name that somebody came with."""

    recorded_at: datetime
    name: str
    initials: str
    former_name: str
    former_initials: str


def name_at(present: Name, changes: Iterable[NameChange], moment: datetime) -> Name:
    """`changes` in the order of time. Somebody who changes their own name does so under the one borne until then."""
    changes = list(changes)
    borne = [change for change in changes if change.recorded_at < moment]
    if borne:
        return Name(borne[-1].name, borne[-1].initials)
    if changes:
        first = changes[0]
        return Name(first.former_name or first.name, first.former_initials or first.initials)
    return Name(present.name, present.initials)
