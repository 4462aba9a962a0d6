"""Readings of a case that were struck out or corrected: they stay listed in it, and no signature of before speaks for them."""

from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import QuerySet, prefetch_related_objects

from compliance.checks.models import Span
from compliance.checks.span_times import inside
from compliance.readings.models import Reading, ReadingVoid
from shared.prepared import Prepared, keys


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


def _voids() -> QuerySet[ReadingVoid]:
    lain = Reading.objects.filter(inside("probe__spans"), probe__spans__in=keys()).order_by().values("pk")
    related = ("voids__probe", "voids__site__area", "replacement__probe", "recorded_by")
    return ReadingVoid.objects.filter(voids__in=lain).select_related(*related).order_by("voids__taken_at", "pk")


_VOIDS = Prepared(_voids)


def struck_out_of(runs: Mapping[str, list[Span]]) -> dict[str, list[StruckOut]]:
    """Of the readings of each run, by its anchor, in the order in which they were taken; one query, and one for names.

    From the spans to their readings, and not from all that was ever struck out.
    """
    voids = _VOIDS.objects(span.pk for run in runs.values() for span in run)
    prefetch_related_objects(voids, "recorded_by__names")
    return {
        anchor: [
            StruckOut(void, not _lies_in(spans, void.replacement)) for void in voids if _lies_in(spans, void.voids)
        ]
        for anchor, spans in runs.items()
    }


def _lies_in(spans: list[Span], reading: Reading | None) -> bool:
    there = reading is not None and reading.probe_id == spans[0].probe_id
    return there and spans[0].starts_at < reading.taken_at <= spans[-1].ends_at
