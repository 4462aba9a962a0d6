"""The particulars of a site as they once were: read back from the trail, where every change says old and new."""

from collections.abc import Iterable
from datetime import datetime

from shared.audit.models import Entry

from .models import Site


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
