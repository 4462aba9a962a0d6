"""Readings of a case that were struck out or corrected: they stay listed in it, and no signature of before speaks for them."""

from dataclasses import dataclass

from compliance.checks.models import Span
from compliance.readings.models import Reading, ReadingVoid


@dataclass(frozen=True, slots=True)
class StruckOut:
    """An entry that lay in the case. `taken_out`: nothing that stands in its place lies there."""

    void: ReadingVoid
    taken_out: bool

    @property
    def reading(self) -> Reading:
        return self.void.voids

    @property
    def became(self) -> str:
        if self.void.replacement is None:
            return "taken out: struck out, and nothing stands in its place"
        return "taken out by correction" if self.taken_out else "corrected, and still in the case"


def struck_out_of(spans: list[Span]) -> list[StruckOut]:
    """Of the readings of a run, in the order in which they were taken; one query, and one for names."""
    probe, first, last = spans[0].probe_id, spans[0].starts_at, spans[-1].ends_at
    lain = {"voids__probe": probe, "voids__taken_at__gt": first, "voids__taken_at__lte": last}
    related = ("voids__probe", "voids__site__area", "replacement__probe", "recorded_by")
    found = ReadingVoid.objects.filter(**lain).select_related(*related).prefetch_related("recorded_by__names")
    return [
        StruckOut(void, not (new and new.probe_id == probe and first < new.taken_at <= last))
        for void in found.order_by("voids__taken_at", "pk")
        for new in [void.replacement]
    ]
