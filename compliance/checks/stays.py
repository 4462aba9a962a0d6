"""Where probes were, and from when to when: those that were ever moved from one site to another."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from django.db.models import Count

from compliance.probes.models import Placement, Probe
from sites.models import Site


@dataclass(slots=True)
class Stay:
    """Time at one site; `end` is None for where it is now, `reason` says why it came."""

    site: Site
    start: datetime
    end: datetime | None
    reason: str


def stays_of(probes: Iterable[Probe]) -> dict[int, list[Stay]]:
    """The stays of each of these probes that was placed more than once, by its key, in order. One query."""
    placed = Placement.objects.filter(probe__in=[probe.pk for probe in probes])
    several = placed.order_by().values("probe").annotate(times=Count("pk")).filter(times__gt=1).values("probe")
    rows = Placement.objects.filter(probe__in=several).select_related("site__area").order_by("probe", "starts_at", "pk")
    return {pk: _joined(list(group)) for pk, group in groupby(rows, key=lambda row: row.probe_id)}


def stays_of_one(probe: Probe) -> tuple[datetime | None, list[Stay]]:
    """When a probe came into use, None if it was never placed, and its stays if it was placed more than once. One query."""
    rows = list(Placement.objects.filter(probe=probe).select_related("site__area").order_by("starts_at", "pk"))
    return (rows[0].starts_at if rows else None), (_joined(rows) if len(rows) > 1 else [])


def _joined(rows: list[Placement]) -> list[Stay]:
    """Of two placements that begin together the last recorded counts; two at one site after another are one stay."""
    stays: list[Stay] = []
    for row in rows:
        if stays and stays[-1].start == row.starts_at:
            stays.pop()
        if not stays or stays[-1].site.pk != row.site_id:
            stays.append(Stay(row.site, row.starts_at, None, row.reason))
    for stay, following in zip(stays, stays[1:], strict=False):
        stay.end = following.start
    return stays
