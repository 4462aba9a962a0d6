"""The people who appear in one record: short marks for narrow columns, and their names in full at the end."""

from sites.models import Person


class People:
    """Gives each person who appears a mark of their own. Two with the same initials are told apart by a number."""

    def __init__(self, known: dict[int, tuple[str, str]]):
        self._known = known
        self._marks: dict[int, str] = {}
        self._taken: set[str] = set()

    @classmethod
    def load(cls) -> "People":
        """Everybody in one query: a record names few of them, but which is known only at its end."""
        return cls(
            {pk: (name, initials) for pk, name, initials in Person.objects.values_list("pk", "name", "initials")}
        )

    def initials(self, pk: int) -> str:
        """The mark of a person, as in "MH", or "MH2" where somebody else in this record is MH."""
        if pk not in self._marks:
            self._marks[pk] = self._free(self._known[pk][1].strip() or "?")
        return self._marks[pk]

    def full(self, pk: int) -> str:
        """Name and mark, as in "Mara Holt (MH)"."""
        return f"{self._known[pk][0]} ({self.initials(pk)})"

    def key(self) -> list[tuple[str, str]]:
        """(mark, name) of everybody who has appeared so far."""
        return sorted((mark, self._known[pk][0]) for pk, mark in self._marks.items())

    def _free(self, initials: str) -> str:
        mark, number = initials, 1
        while mark in self._taken:
            number += 1
            mark = f"{initials}{number}"
        self._taken.add(mark)
        return mark
