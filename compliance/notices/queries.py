"""What pages and the health page read of notices."""

from django.db.models import Count, Q, QuerySet

from shared.prepared import Prepared, Slot
from sites.access import areas_of, keys_of_areas, keys_of_sites, sites_of
from sites.models import Person, Role

from .models import Choice, Notice, State
from .recipients import Kind, NoticeRule, Wish, granted, rule_for
from .timing import USUAL_QUIET, Quiet


def inbox(person: Person) -> QuerySet[Notice]:
    """What a person is shown in the pages: of places where they still hold a role that is told of anything."""
    theirs = Q(site__in=sites_of(person, Role.MANAGER)) | Q(area__in=areas_of(person)) | Q(site=None, area=None)
    return Notice.objects.filter(theirs, person=person, in_page=True)


def with_places(notices: QuerySet[Notice]) -> QuerySet[Notice]:
    """With what their times are shown by."""
    return notices.select_related("person", "site", "area").prefetch_related("area__sites")


_UNREAD = Prepared(
    lambda: (
        Notice.objects.filter(person=Slot("person"), in_page=True, read_at=None)
        .order_by()
        .values_list("site", "area")
        .annotate(number=Count("pk"))
    )
)


def unread(person: Person) -> int:
    """How many of the inbox. Every page asks for it: of which places they are is asked of the few that there are."""
    sites, areas = set(keys_of_sites(person, Role.MANAGER)), set(keys_of_areas(person))
    return sum(
        number
        for site, area, number in _UNREAD.rows(person=person.pk)
        if site in sites or area in areas or site is area is None
    )


def mail_of(supervisor: Person) -> QuerySet[Notice]:
    """The mail to people about the sites and areas that this person supervises."""
    mine = Q(site__in=sites_of(supervisor, Role.SUPERVISOR)) | Q(area__in=areas_of(supervisor))
    return Notice.objects.filter(mine).exclude(state=State.PAGE)


def roles_of(person: Person) -> set[int]:
    """The roles that decide what somebody is told."""
    return set(person.memberships.filter(role__gte=Role.MANAGER).values_list("role", flat=True))


def wishes(person: Person) -> dict[Kind, tuple[NoticeRule, Wish]]:
    """Of each kind that this person's roles are told of: what they require, and what holds now."""
    roles, chosen = roles_of(person), {c.kind: c.as_wish() for c in Choice.objects.filter(person=person)}
    rules = {kind: rule_for(kind, roles) for kind in Kind}
    return {kind: (rule, granted(rule, chosen.get(kind.value))) for kind, rule in rules.items() if rule}


def quiet_hours(person: Person) -> Quiet:
    """Those that they set, or the usual ones. No query where they were read together."""
    found = getattr(person, "quiet_hours", None)
    return found.as_quiet() if found else USUAL_QUIET
