"""The door to appliances: seen by whoever has a role at their site."""

from shared.prepared import Prepared, Slot
from sites.access import reach
from sites.models import Person, Role

from .models import Appliance, OutOfUse

_WITH_SITE = Prepared(lambda: Appliance.objects.select_related("site__area__business", "limit").filter(pk=Slot("pk")))


def get_appliance(person: Person, pk: int, role: int = Role.READER) -> Appliance:
    """One appliance. Raises Http404 for strangers and PermissionDenied where the role at its site is not enough."""
    return reach(person, _WITH_SITE.objects(pk=pk), lambda appliance: appliance.site, role)


def get_out_of_use(person: Person, pk: int, role: int = Role.READER) -> OutOfUse:
    """One time out of use. Raises as `get_appliance`."""
    found = OutOfUse.objects.select_related("appliance__site__area__business", "back", "void").filter(pk=pk)
    return reach(person, found, lambda each: each.appliance.site, role)
