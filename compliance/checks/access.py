"""The door to probes, checks and events: strangers find nothing; whoever has a role where the probe was may look back."""

from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet
from django.http import Http404

from compliance.probes.models import Event, Placement, Probe
from sites.access import role_at, sites_of
from sites.models import Person, Role

from .models import Check

WHERE = "site__area__business"


def get_probe(person: Person, pk: int, role: int = Role.READER) -> Probe:
    """One probe. To read, a role at any site where it has been is enough; to write, `role` where it is now.

    Raises Http404 for strangers and PermissionDenied where the role held is not enough.
    """
    probe = _first(Probe.objects.select_related(WHERE, "state").filter(pk=pk))
    _require(person, probe, probe.site, role)
    return probe


def get_check(person: Person, pk: int, role: int = Role.READER) -> Check:
    """One check. To write, `role` at the site where it was made. Raises as `get_probe` does."""
    related = (
        "probe__site__area__business",
        WHERE,
        "checked_by",
        "recorded_by",
        "void__recorded_by",
        "void__replacement",
    )
    check = _first(Check.objects.select_related(*related).filter(pk=pk))
    _require(person, check.probe, check.site, role)
    return check


def get_event(person: Person, pk: int, role: int = Role.READER) -> Event:
    """One event. To write, `role` where its probe is now. Raises as `get_probe` does."""
    event = _first(Event.objects.select_related("probe__site__area__business").filter(pk=pk))
    _require(person, event.probe, event.probe.site, role)
    return event


def _first(found: QuerySet):
    record = found.first()
    if record is None:
        raise Http404
    return record


def _require(person: Person, probe: Probe, site, role: int) -> None:
    held = role_at(person, site) or 0
    if held >= role:
        return
    if not held and not _has_been_near(person, probe):
        raise Http404
    if role > Role.READER:
        raise PermissionDenied(f"This needs the role of {Role(role).label} at {site}.")


def _has_been_near(person: Person, probe: Probe) -> bool:
    mine = sites_of(person)
    if mine.filter(pk=probe.site_id).exists():
        return True
    return Placement.objects.filter(probe=probe, site__in=mine).exists()
