"""The particulars of a site as they once were: read back from the trail, where every change says old and new."""

from collections.abc import Iterable
from copy import copy
from datetime import datetime

from shared.audit.models import Entry

from .models import Area, Site

DAYS_OF_WORK = ("area", "time_zone", "country", "subdivision", "closed_on_holidays", "closed")


class Particulars:
    """Fields of one site over time, as text. One query."""

    def __init__(self, site: Site, fields: Iterable[str]):
        self._present = {name: str(getattr(site, name)) for name in fields}
        changes = Entry.objects.filter(
            action="site.amend", subject_type=site._meta.label_lower, subject_id=site.pk
        ).order_by("-at", "-pk")
        self._changes = [(each.at, each.data.get("changes", {})) for each in changes]

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
    then, told = copy(site), Particulars(site, DAYS_OF_WORK).at(moment)
    area = told.pop("area")
    for name, text in told.items():
        setattr(then, name, Site._meta.get_field(name).to_python(text))
    if area != str(site.area):
        then.area = Area.objects.filter(business=site.area.business_id, name=area).first() or site.area
    return then
