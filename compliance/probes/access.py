"""The door to probes: seen wherever they are or ever were, used and managed where they are now."""

from django.core.exceptions import PermissionDenied
from django.db.models import Q, QuerySet
from django.http import Http404

from shared.prepared import Prepared, Slot
from sites.access import role_at, sites_of
from sites.models import Person, Role

from .models import Placement, Probe


def probes_of(person: Person, role: int = Role.READER) -> QuerySet[Probe]:
    """The probes that a person may see; with a higher role than reader, those now at a site where it is held."""
    sites = sites_of(person, role)
    if role > Role.READER:
        return Probe.objects.filter(site__in=sites)
    placed = Placement.objects.filter(site__in=sites).values("probe")
    return Probe.objects.filter(Q(site__in=sites) | Q(pk__in=placed))


_WITH_SITE = Prepared(lambda: Probe.objects.filter(pk=Slot("probe")).select_related("site__area__business", "business"))


def get_probe(person: Person, pk: int, role: int = Role.READER) -> Probe:
    """One probe. Raises Http404 for strangers, PermissionDenied where the role at its present site is not enough."""
    probe = next(iter(_WITH_SITE.objects(probe=pk)), None)
    held = role_at(person, probe.site) if probe else None
    if probe is None or (held is None and not probes_of(person).filter(pk=pk).exists()):
        raise Http404
    if role > Role.READER and (held or 0) < role:
        raise PermissionDenied(f"This needs the role of {Role(role).label} at {probe.site}, where the probe is now.")
    return probe
