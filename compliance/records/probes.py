"""Which probes a record speaks of, and when each was placed at its site."""

from dataclasses import dataclass, field
from datetime import datetime
from itertools import groupby

from django.db.models import Q

from compliance.checks.models import Check
from compliance.probes.models import Placement, Probe
from compliance.readings.models import Reading
from sites.models import Site


@dataclass(frozen=True, slots=True)
class TimeHere:
    """A placement with its end; None: it has not been moved since."""

    site_id: int
    site: str
    start: datetime
    end: datetime | None
    reason: str
    move: Placement


@dataclass(slots=True)
class ProbeHere:
    probe: Probe
    stays: list[TimeHere] = field(default_factory=list)


def probes_here(site: Site, start: datetime, end: datetime, now: datetime) -> list[ProbeHere]:
    """Every probe that was placed, read or checked at a site in a period, by its code at the end of it; three queries at any
    size."""
    stays = _stays(site, start, end)
    read = Reading.objects.filter(site=site, taken_at__gte=start, taken_at__lt=end, recorded_at__lte=now)
    checked = Check.objects.filter(site=site, checked_at__gte=start, checked_at__lt=end, recorded_at__lte=now)
    known = (
        Q(pk__in=list(stays)) | Q(pk__in=read.order_by().values("probe")) | Q(pk__in=checked.order_by().values("probe"))
    )
    found = Probe.objects.filter(known).select_related("site", "state")
    missing = [probe.pk for probe in found if probe.pk not in stays]
    stays |= _stays_of(missing, start, end)
    here = [ProbeHere(probe.particulars_at(min(end, now)), stays.get(probe.pk, [])) for probe in found]
    return sorted(here, key=lambda each: (each.probe.code, each.probe.pk))


def life_of(probe: Probe, start: datetime, end: datetime, now: datetime) -> ProbeHere:
    """One probe with every placement between two moments."""
    found = Probe.objects.select_related("site", "state").get(pk=probe.pk)
    return ProbeHere(found.particulars_at(min(end, now)), _stays_of([probe.pk], start, end).get(probe.pk, []))


def _stays(site: Site, start: datetime, end: datetime) -> dict[int, list[TimeHere]]:
    """The placements of each probe that was at the site in the period, as far as they fall in it."""
    here = Placement.objects.filter(site=site, starts_at__lt=end).values("probe")
    found = _within(Placement.objects.filter(probe__in=here), start, end)
    return {probe: stays for probe, stays in found.items() if any(stay.site_id == site.pk for stay in stays)}


def _stays_of(probes: list[int], start: datetime, end: datetime) -> dict[int, list[TimeHere]]:
    return _within(Placement.objects.filter(probe__in=probes), start, end)


def _within(placements, start: datetime, end: datetime) -> dict[int, list[TimeHere]]:
    rows = placements.order_by("probe", "starts_at", "pk").select_related("site")
    return {probe: _cut(list(group), start, end) for probe, group in groupby(rows, key=lambda row: row.probe_id)}


def _cut(rows: list[Placement], start: datetime, end: datetime) -> list[TimeHere]:
    """Each placement ends where the next begins; of two that begin together the last recorded counts."""
    ends = [row.starts_at for row in rows[1:]] + [None]
    stays = [
        TimeHere(r.site_id, r.site_then.name, r.starts_at, e, r.reason, r) for r, e in zip(rows, ends, strict=True)
    ]
    return [s for s in stays if s.start < end and (s.end is None or s.end > start) and s.start != s.end]
