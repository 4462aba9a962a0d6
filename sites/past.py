"""The particulars of a site as they once were: read back from the trail, where every change says old and new."""

from collections import defaultdict
from collections.abc import Iterable
from copy import copy
from datetime import datetime

from django.db.models import QuerySet

from shared.audit.models import Entry

from .models import Area, Site

CLOCK_AND_HOLIDAYS = ("area", "time_zone", "country", "subdivision", "closed_on_holidays")
DAYS_OF_WORK = (*CLOCK_AND_HOLIDAYS, "closed")


class Particulars:
    """Fields of one site over time, as text. One query."""

    def __init__(self, site: Site, fields: Iterable[str]):
        self._present = {name: str(getattr(site, name)) for name in fields}
        self._changes = [(each.at, each.data.get("changes", {})) for each in _changes([site])]

    def at(self, moment: datetime) -> dict[str, str]:
        """Each field as it was at a moment."""
        told = dict(self._present)
        for changed_at, changes in self._changes:
            if changed_at <= moment:
                break
            told |= {name: old for name, (old, _) in changes.items() if name in told}
        return told


def as_it_was(site: Site, moment: datetime) -> Site:
    """A copy of a site, not to be saved, with all that says on which days it worked as it was at a moment.

    An area that has had another name since is taken to be the one of now. One query, or two.
    """
    told = Particulars(site, DAYS_OF_WORK).at(moment)
    return _copy(site, told, _areas([site]) if told["area"] != str(site.area) else {})


def as_they_were(sites: Iterable[Site]) -> dict[int, list[tuple[Site, datetime]]]:
    """What the clock, the holidays and the area of each of these sites were before, the oldest first: copies, not to be saved,
    and until when. Sites of which nothing of that was changed are left out. One query, or two."""
    present, found = {site.pk: site for site in sites}, defaultdict(list)
    told = {pk: {name: str(getattr(site, name)) for name in CLOCK_AND_HOLIDAYS} for pk, site in present.items()}
    areas = None
    for each in _changes(present.values()):
        old = {name: was for name, (was, _) in each.data.get("changes", {}).items() if name in CLOCK_AND_HOLIDAYS}
        if old:
            site, then = present[each.subject_id], told[each.subject_id] | old
            told[each.subject_id] = then
            areas = _areas(present.values()) if areas is None and then["area"] != str(site.area) else areas
            found[site.pk].insert(0, (_copy(site, then, areas or {}), each.at))
    return found


def _changes(sites: Iterable[Site]) -> QuerySet[Entry]:
    """Of all particulars of these sites, the last first."""
    of_them = Entry.objects.filter(subject_type=Site._meta.label_lower, subject_id__in=[site.pk for site in sites])
    return of_them.filter(action="site.amend").order_by("-at", "-pk")


def _areas(sites: Iterable[Site]) -> dict[tuple[int, str], Area]:
    businesses = {site.area.business_id for site in sites}
    return {(area.business_id, area.name): area for area in Area.objects.filter(business__in=businesses)}


def _copy(site: Site, told: dict[str, str], areas: dict[tuple[int, str], Area]) -> Site:
    then = copy(site)
    for name, text in told.items():
        if name != "area":
            setattr(then, name, Site._meta.get_field(name).to_python(text))
    if told["area"] != str(site.area):
        then.area = areas.get((site.area.business_id, told["area"]), site.area)
    return then
