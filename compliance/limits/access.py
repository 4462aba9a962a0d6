"""The door to limits: they are seen by whoever has a role at their site, and set by its manager."""

from shared.prepared import Prepared, Slot
from sites.access import reach
from sites.models import Person, Role

from .models import Limit

_WITH_SITE = Prepared(
    lambda: Limit.objects.select_related("site__area__business", "rule__rule_set").filter(pk=Slot("pk"))
)


def get_limit(person: Person, pk: int, role: int = Role.READER) -> Limit:
    """One limit. Raises Http404 for strangers and PermissionDenied where the role at its site is not enough."""
    return reach(person, _WITH_SITE.objects(pk=pk), lambda limit: limit.site, role)
