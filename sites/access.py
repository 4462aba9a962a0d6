"""The only door to what belongs to a site: strangers find nothing (404), readers may not write (403). A session that a PIN
opened has one site, and there no more than a cook's rights; where it is told what was done about a limit, a manager's."""

from collections.abc import Callable, Iterable
from typing import TypeVar
from zoneinfo import ZoneInfo

from django.core.exceptions import PermissionDenied
from django.db.models import Q, QuerySet
from django.http import Http404

from shared.prepared import Prepared, Slot, keys

from .asked_once import once, roles_held
from .models import Area, Business, Membership, Person, Role, Site

Record = TypeVar("Record")


def sites_of(person: Person, role: int = Role.READER) -> QuerySet[Site]:
    """The sites where this person holds `role` or a higher one."""
    found = Site.objects.filter(_at_sites(person, role))
    if person.kitchen is None:
        return found
    return found.filter(pk=person.kitchen) if role <= person.kitchen_most else found.none()


def _at_sites(person: Person, role: int) -> Q:
    if person.answers is None:
        mine = Membership.objects.filter(person=person, role__gte=role)
        return Q(pk__in=mine.values("site")) | Q(area__in=mine.values("area"))
    enough = [each for each in roles_held(person) if each.role >= role]
    return Q(pk__in=[held.site for held in enough if held.site]) | Q(
        area__in=[held.area for held in enough if held.area]
    )


_SEEN = Prepared(
    lambda: (
        Site.objects.filter(Q(pk__in=keys("sites")) | Q(area__in=keys("areas")))
        .order_by()
        .values_list("pk", "area_id", "closed")
    )
)


def keys_of_sites(person: Person, role: int = Role.READER, *, only_open: bool = False) -> list[int]:
    """The keys of the sites where this person holds `role`. One query a page, whatever its parts ask."""
    if person.answers is None:
        found = sites_of(person, role)
        return list((found.filter(closed=False) if only_open else found).order_by().values_list("pk", flat=True))
    rows = once(person, "sites", lambda: _sites_seen(person))
    if role > Role.READER:
        enough = [each for each in roles_held(person) if each.role >= role]
        by_site, by_area = {held.site for held in enough}, {held.area for held in enough}
        may = person.kitchen is None or role <= person.kitchen_most
        rows = [row for row in rows if may and (row[0] in by_site or row[1] in by_area)]
    return [pk for pk, _, closed in rows if not (only_open and closed)]


def _sites_seen(person: Person) -> list[tuple[int, int, bool]]:
    held = roles_held(person)
    rows = _SEEN.rows(sites=[each.site for each in held if each.site], areas=[each.area for each in held if each.area])
    return [row for row in rows if person.kitchen in (None, row[0])]


def areas_of(person: Person, role: int = Role.SUPERVISOR) -> QuerySet[Area]:
    """The areas where this person holds `role` or a higher one for the whole area."""
    if person.kitchen is not None:
        return Area.objects.none()
    if person.answers is None:
        return Area.objects.filter(memberships__person=person, memberships__role__gte=role)
    return Area.objects.filter(pk__in=keys_of_areas(person, role))


def keys_of_areas(person: Person, role: int = Role.SUPERVISOR) -> list[int]:
    if person.kitchen is not None:
        return []
    return [held.area for held in roles_held(person) if held.area and held.role >= role]


def businesses_of(person: Person) -> QuerySet[Business]:
    """The businesses of which this person supervises every area."""
    mine = areas_of(person).values("pk")
    others = Area.objects.exclude(pk__in=mine).values("business")
    return Business.objects.filter(areas__in=mine).exclude(pk__in=others).distinct()


def people_at(site: Site, role: int = Role.COOK) -> QuerySet[Person]:
    """Who holds a role at a site, directly or through its area."""
    held = Membership.objects.filter(Q(site=site) | Q(area=site.area_id), role__gte=role)
    return Person.objects.filter(pk__in=held.values("person"), is_active=True).order_by("name")


def clock_of(person: Person) -> ZoneInfo:
    """The clock by which a person reads times that belong to no site: that of the first site they have a role at."""
    zone = sites_of(person).order_by("area__name", "name", "pk").values_list("time_zone", flat=True).first()
    return ZoneInfo(zone or "UTC")


_HELD = Prepared(
    lambda: Membership.objects.filter(Q(site=Slot("site")) | Q(area=Slot("area")), person=Slot("person")).values_list(
        "role"
    )
)


def role_at(person: Person, site: Site) -> int | None:
    """The highest role held at this site, directly or through its area; None for a stranger."""
    if person.answers is None:
        roles = [role for (role,) in _HELD.rows(person=person.pk, site=site.pk, area=site.area_id)]
    else:
        roles = [each.role for each in roles_held(person) if each.site == site.pk or each.area == site.area_id]
    held = max(roles, default=None)
    return _with_a_pin(person, site.pk, held) if held and person.kitchen is not None else held


def _with_a_pin(person: Person, site: int, held: int) -> int | None:
    """A PIN opens one kitchen, and there no more than its work, whatever the role."""
    return min(held, person.kitchen_most) if site == person.kitchen else None


def roles_at(person: Person, sites: Iterable[Site]) -> dict[int, int]:
    """The highest role held at each of these sites, by the site's key; strangers' sites are left out. One query at most."""
    by_site, by_area = {}, {}
    for site, area, role in roles_held(person):
        held, key = (by_site, site) if site else (by_area, area)
        held[key] = max(role, held.get(key, 0))
    highest = {site.pk: max(by_site.get(site.pk, 0), by_area.get(site.area_id, 0)) for site in sites}
    if person.kitchen is not None:
        highest = {pk: _with_a_pin(person, pk, role) for pk, role in highest.items()}
    return {pk: role for pk, role in highest.items() if role}


def may(person: Person, site: Site, role: int) -> bool:
    return (role_at(person, site) or 0) >= role


def require(person: Person, site: Site, role: int) -> None:
    """Raises Http404 for strangers and PermissionDenied where the role held is not enough."""
    held = role_at(person, site)
    if held is None:
        raise Http404
    if held < role:
        raise PermissionDenied(f"This needs the role of {Role(role).label} at {site}.")


_SITE = Prepared(lambda: Site.objects.select_related("area__business").filter(pk=Slot("pk")))


def get_site(person: Person, pk: int, role: int = Role.READER) -> Site:
    """One site. Raises Http404 for strangers and PermissionDenied where the role is not enough."""
    return reach(person, _SITE.objects(pk=pk), lambda site: site, role)


def get_area(person: Person, pk: int, role: int = Role.SUPERVISOR) -> Area:
    """One area. Raises Http404 for those with no role over the whole area, PermissionDenied where it is not enough."""
    held = max((role for _, area, role in roles_held(person) if area == pk), default=None)
    if held is None or person.kitchen is not None:
        raise Http404
    if held < role:
        raise PermissionDenied(f"This needs the role of {Role(role).label} for the area.")
    return Area.objects.select_related("business").get(pk=pk)


def get_business(person: Person, pk: int | None = None) -> Business:
    """One business, or the first of those whose every area the person supervises.

    Raises PermissionDenied for those who supervise no whole business, and Http404 where this one is not theirs.
    """
    mine = businesses_of(person).order_by("name", "pk")
    if not mine.exists():
        raise PermissionDenied(f"This needs the role of {Role.SUPERVISOR.label} for every area of the business.")
    business = (mine if pk is None else mine.filter(pk=pk)).first()
    if business is None:
        raise Http404
    return business


def reach(person: Person, found: Iterable, site_of: Callable[[Record], Site], role: int = Role.READER) -> Record:
    """The one record in `found`, if the person holds `role` at its site. Raises Http404 or PermissionDenied."""
    record = next(iter(found), None)
    if record is None:
        raise Http404
    require(person, site_of(record), role)
    return record
