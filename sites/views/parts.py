"""What several pages about sites and people show."""

from django.db.models import QuerySet
from django.urls import reverse

from ..access import areas_of, businesses_of
from ..models import Membership, Person


def setup_tabs(person: Person, current: str) -> list[dict]:
    """The tabs above sites, people and areas; none for those who only see their sites."""
    if not areas_of(person).exists():
        return []
    pages = [("site_list", "Sites"), ("people", "People"), ("area_setup", "Areas")]
    if businesses_of(person).exists():
        pages.append(("business_edit", "Business"))
    return [{"label": label, "url": reverse(name), "current": name == current} for name, label in pages]


def roles_of(person: Person) -> QuerySet[Membership]:
    """A person's roles, the highest first."""
    return person.memberships.select_related("site__area", "area").order_by("-role", "area__name", "site__name")


def role_facts(memberships) -> list[tuple[str, str]]:
    return [(place_of(m), m.get_role_display()) for m in memberships]


def place_of(membership: Membership) -> str:
    return str(membership.site) if membership.site_id else f"{membership.area}, all its sites"
