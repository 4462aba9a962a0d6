"""The people who appear in one record, as they were called when each line was written: short marks for narrow columns, and
their names in full at the end."""

from collections import defaultdict
from datetime import datetime

from shared.append_only import Fact
from sites.models import Person, PersonName
from sites.names import Name, NameChange, name_at


class People:
    """Gives each person who appears a mark of their own. Two with the same initials are told apart by a number, and who got
    other initials has two marks."""

    def __init__(self, known: dict[int, Name], changes: dict[int, list[NameChange]] | None = None):
        self._known, self._changes = known, changes or {}
        self.told: set[int] = set()  # whose names were asked for
        self._marks: dict[tuple[int, str], str] = {}
        self._taken: set[str] = set()
        self._borne: dict[tuple[int, str], dict[Name, datetime]] = defaultdict(dict)  # since when, as far as it appears

    @classmethod
    def load(cls) -> "People":
        """Everybody in two queries: a record names few of them, but which is known only at its end."""
        changes = defaultdict(list)
        for change in PersonName.objects.exclude(former_name=""):
            changes[change.person_id].append(change)
        people = Person.objects.values_list("pk", "name", "initials")
        return cls({pk: Name(name, initials) for pk, name, initials in people}, changes)

    def anew(self) -> "People":
        """The same people, none of whom has appeared yet."""
        return People(self._known, self._changes)

    def name(self, pk: int, at: datetime) -> Name:
        """What a person was called when a line was written."""
        self.told.add(pk)
        changes = self._changes.get(pk)
        return name_at(self._known[pk], changes, at) if changes else self._known[pk]

    def initials(self, pk: int, at: datetime) -> str:
        """The mark of a person for what they wrote at a moment, as in "MH", or "MH2" where somebody else in this record is MH."""
        name = self.name(pk, at)
        borne = pk, name.initials.strip() or "?"
        if borne not in self._marks:
            self._marks[borne] = self._free(borne[1])
        since = self._borne[borne]
        since[name] = min(at, since.get(name, at))
        return self._marks[borne]

    def full(self, pk: int, at: datetime) -> str:
        """Name and mark, as in "Mara Holt (MH)"."""
        return f"{self.name(pk, at)} ({self.initials(pk, at)})"

    def initials_of(self, fact: Fact, field: str = "recorded_by") -> str:
        return self.initials(getattr(fact, f"{field}_id"), fact.recorded_at)

    def full_of(self, fact: Fact, field: str = "recorded_by") -> str:
        return self.full(getattr(fact, f"{field}_id"), fact.recorded_at)

    def named(self) -> set[int]:
        """Who has appeared so far."""
        return {pk for pk, _ in self._marks}

    def key(self) -> list[tuple[str, str]]:
        """(mark, name) of everybody who has appeared so far; of one who bore several names under one mark, each in turn."""
        return sorted((mark, ", then ".join(self._in_turn(borne))) for borne, mark in self._marks.items())

    def changes(self, since: datetime, until: datetime, *, of: set[int] | None = None) -> list[NameChange]:
        """The changes of name of those who have appeared so far, or of others, from one moment to another, the first first."""
        found = [change for pk in (self.named() if of is None else of) for change in self._changes.get(pk, [])]
        return sorted((c for c in found if since <= c.recorded_at <= until), key=lambda c: (c.recorded_at, c.pk))

    def _in_turn(self, borne: tuple[int, str]) -> list[str]:
        since = self._borne[borne]
        return [str(name) for name in sorted(since, key=since.get)]

    def _free(self, initials: str) -> str:
        mark, number = initials, 1
        while mark in self._taken:
            number += 1
            mark = f"{initials}{number}"
        self._taken.add(mark)
        return mark
