"""The door to reminders: the manager of a site and those above excuse; and who sets what holds for a whole business."""

from shared.prepared import Prepared, Slot
from sites.access import businesses_of, reach
from sites.models import Person, Role, Site

from .models import Reminder

_WITH_SITE = Prepared(
    lambda: Reminder.objects.select_related("probe", "limit", "appliance", "site__area__business").filter(pk=Slot("pk"))
)


def has_whole_business(person: Person, site: Site) -> bool:
    """Whether they supervise every area of the business of a site."""
    return businesses_of(person).filter(pk=site.area.business_id).exists()


def get_reminder(person: Person, pk: int) -> Reminder:
    """One to be excused. Raises Http404 for strangers and PermissionDenied for less than a site manager."""
    return reach(person, _WITH_SITE.objects(pk=pk), lambda each: each.site, Role.MANAGER)
