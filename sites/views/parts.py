"""What several pages about sites and people show."""

from zoneinfo import ZoneInfo

from django.db.models import QuerySet
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.html import format_html

from shared.audit.models import Entry
from shared.plurals import plural
from shared.templatetags.noughtbook import when

from ..access import businesses_of, keys_of_areas
from ..choosing import ChooseSite, SiteOffer
from ..models import Membership, Person, PersonName

LOOKING_AT_PASSWORDS = "signing in or choosing a password"  # as it is told to who finds no place for it


def setup_tabs(person: Person, current: str) -> list[dict]:
    """The tabs above sites, people and areas; none for those who only see their sites."""
    if not keys_of_areas(person):
        return []
    pages = [("site_list", "Sites"), ("people", "People"), ("area_setup", "Areas")]
    if businesses_of(person).exists():
        pages.append(("business_edit", "Business"))
    return [{"label": label, "url": reverse(name), "current": name == current} for name, label in pages]


def ask_for_site(request, offer: SiteOffer, **told):
    """The page that asks somebody with many sites for one of them, and comes back with its number in the address."""
    form = ChooseSite(request.GET, offer)
    if form.is_valid():
        return redirect(f"{request.path}?site={form.cleaned_data['site'].pk}")
    return render(request, "sites/choose_site.html", {"form": form, **told})


def roles_of(person: Person) -> QuerySet[Membership]:
    """A person's roles, the highest first."""
    return person.memberships.select_related("site__area", "area").order_by("-role", "area__name", "site__name")


def role_facts(memberships) -> list[tuple[str, str]]:
    return [(place_of(m), m.get_role_display()) for m in memberships]


def place_of(membership: Membership) -> str:
    return str(membership.site) if membership.site_id else f"{membership.area}, all its sites"


def name_facts(person: Person) -> list[tuple[str, str]]:
    return [("Name", person.name), ("Initials", person.initials)]


def former_names(person: Person, zone: ZoneInfo) -> list[dict]:
    """What somebody was called before, the last first: until when, who changed it and why."""
    changes = person.names.exclude(former_name="").select_related("recorded_by").prefetch_related("recorded_by__names")
    return [
        {"title": f"{each.former_name} ({each.former_initials})", "meta": _until(each, zone)}
        for each in reversed(changes)
    ]


def _until(change: PersonName, zone: ZoneInfo) -> str:
    by = change.name_of() if change.recorded_by else "whoever runs Noughtbook"
    why = format_html(": {}", change.reason) if change.reason else ""
    return format_html("Until {}, changed by {}{}", when(change.recorded_at, zone), by, why)


def sign_in_rows(person: Person, zone: ZoneInfo, most: int = 10) -> list[dict]:
    """The last times that somebody signed in, as the trail has them."""
    of_them = Entry.objects.filter(
        subject_type=Person._meta.label_lower, subject_id=person.pk, action__in=("person.sign_in", "person.pin_sign_in")
    )
    return [
        {"title": when(entry.at, zone), "meta": _where_from(**entry.data)}
        for entry in of_them.order_by("-at", "-pk")[:most]
    ]


def _where_from(address: str = "", known_device: bool = False, wrong_before: int = 0, device: str = "") -> str:
    if device:
        return f"With the PIN, on {device}"
    device = "a device known before" if known_device else "a new device"
    wrong = f", after {plural(wrong_before, 'wrong password')}" if wrong_before else ""
    return f"From {address or 'an unknown address'}, on {device}{wrong}"
