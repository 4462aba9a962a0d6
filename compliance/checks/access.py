"""The door to checks and events: whoever may see the probe, or the site of a check, sees it too."""

from django.core.exceptions import PermissionDenied
from django.http import Http404

from compliance.probes.access import get_probe, probes_of
from compliance.probes.models import Event
from shared.prepared import Prepared, Slot
from sites.access import role_at
from sites.models import Person, Role

from .models import Check

RELATED = (
    "probe__site__area__business",
    "probe__state",
    "site__area__business",
    "checked_by",
    "recorded_by",
    "void__recorded_by",
    "void__replacement",
)
_WITH_RELATED = Prepared(lambda: Check.objects.select_related(*RELATED).filter(pk=Slot("pk")))


def get_check(person: Person, pk: int, role: int = Role.READER) -> Check:
    """One check. To write, `role` at the site where it was made.

    Raises Http404 for strangers and PermissionDenied where the role held is not enough.
    """
    check = next(iter(_WITH_RELATED.objects(pk=pk)), None)
    if check is None:
        raise Http404
    held = role_at(person, check.site) or 0
    if not held and not probes_of(person).filter(pk=check.probe_id).exists():
        raise Http404
    if held < role > Role.READER:
        raise PermissionDenied(f"This needs the role of {Role(role).label} at {check.site}, where the check was made.")
    return check


def get_event(person: Person, pk: int, role: int = Role.READER) -> Event:
    """One event. To write, `role` where its probe is now. Raises as `get_check` does."""
    event = Event.objects.filter(pk=pk).first()
    if event is None:
        raise Http404
    event.probe = get_probe(person, event.probe_id, role)
    return event
