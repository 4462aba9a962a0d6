"""Where probes are and were: reads that pages and the floors above share."""

from django.db.models import QuerySet

from sites.models import Site

from .models import Placement, Probe


def latest_placement(probe: Probe) -> Placement | None:
    """The placement that begins last; of those that begin together, the last recorded."""
    return probe.placements.select_related("site").order_by("-starts_at", "-pk").first()


def sites_to_move_to(probe: Probe) -> QuerySet[Site]:
    """The open sites of the probe's business, but for the one where it is."""
    found = Site.objects.filter(area__business=probe.business_id, closed=False).exclude(pk=probe.site_id)
    return found.select_related("area").order_by("area__name", "name")
