"""A file of readings as it came in, piece by piece."""

from collections.abc import Sequence
from functools import cached_property

from django.db.models import Q

from .models import Import


class ImportedFile:
    """All that was written of a file at one go, in the order of its lines. Where the program, the machine or the database was
    stopped, or while more is still to come, it does not reach the end of the file."""

    def __init__(self, parts: Sequence[Import]):
        self.parts, self.first = parts, parts[0]
        self.pk, self.file_name, self.recorded_at = self.first.pk, self.first.file_name, self.first.recorded_at
        self.rows, self.added, self.known, self.breaches, self.refused_count = (
            sum(getattr(part, name) for part in parts)
            for name in ("rows", "added", "known", "breaches", "refused_count")
        )
        self.rest_after = parts[-1].rest_after

    @classmethod
    def of(cls, part: Import) -> "ImportedFile":
        """The file that came in with it: one query."""
        first = part.part_of_id or part.pk
        found = Import.objects.filter(Q(pk=first) | Q(part_of=first)).select_related("recorded_by")
        return cls(list(found.order_by("pk")))

    @cached_property
    def refused(self) -> list[list]:
        return [told for part in self.parts for told in part.refused]

    @cached_property
    def doubts(self) -> list[list]:
        return [told for part in self.parts for told in part.doubts]

    @property
    def sites(self) -> list[int]:
        return sorted({site for part in self.parts for site in part.sites})

    @property
    def site(self):
        """The only one; None where its rows belong to several."""
        return self.first.site if len(self.sites) == 1 else None

    @property
    def name_of(self):
        return self.first.name_of

    def __str__(self):
        return self.file_name
