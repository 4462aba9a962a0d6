"""Where probes are and were: reads that pages and the floors above share."""

from .models import Placement, Probe


def latest_placement(probe: Probe) -> Placement | None:
    """The placement that begins last; of those that begin together, the last recorded."""
    return probe.placements.select_related("site").order_by("-starts_at", "-pk").first()
