"""What every page shows around its own content: where the person may go, and what waits there."""

from dataclasses import dataclass

from django.utils.functional import SimpleLazyObject

from compliance.checks.kinds import KINDS
from compliance.notices.queries import unread
from compliance.quarantine.cases import doubts_seen_by, unsigned
from sites.access import keys_of_areas
from sites.addresses import address
from sites.models import Person

from .first_steps import next_step

# The first word of a page's name says in which part of the book it is.
PARTS = {
    "Today": ("today", "reminder"),
    "Area": ("area",),
    "Readings": ("reading", "import", "deviation"),
    "Probes": ("probe", "check", "event", *KINDS),
    "Drift": ("outlook",),
    "Quarantine": ("case",),
    "Records": ("record", "review"),
    "Set-up": (
        "site",
        "device",
        "business",
        "people",
        "person",
        "role",
        "limit",
        "plan",
        "round",
        "opening",
        "closure",
        "appliance",
        "acts",
    ),
}
SET_UP_TOO = {"area_setup", "area_add", "area_edit"}


@dataclass(frozen=True, slots=True)
class Link:
    label: str
    url: str
    current: bool = False
    count: int = 0


def navigation(request) -> dict:
    """The links of the person who asks; asked for only by a page that shows them, never by a fragment of one."""
    person = getattr(request, "user", None)
    if person is None or not person.is_authenticated:
        return {"nav": [], "person_links": []}
    here = part_of(request)
    return {
        "nav": SimpleLazyObject(lambda: links(person, here)),
        "person_links": [] if person.kitchen else SimpleLazyObject(lambda: account_links(request)),
        "leads_on": SimpleLazyObject(lambda: _leads_on(request, here)),
    }


def _leads_on(request, here: str):
    """The step to the first check that comes next; the page of an area has the whole list."""
    if here in ("", "Area"):
        return None
    return next_step(request.user, request.resolver_match.url_name or "", request.path)


def part_of(request) -> str:
    """Which part of the book the page that is asked for belongs to; empty for none."""
    match = getattr(request, "resolver_match", None)
    name = (match and match.url_name) or ""
    if name in SET_UP_TOO:
        return "Set-up"
    first = name.split("_")[0]
    return next((part for part, words in PARTS.items() if first in words), "")


def links(person: Person, here: str) -> list[Link]:
    """The number of queries does not grow with what there is to count."""
    areas = keys_of_areas(person)
    area = address("area_detail", areas[0]) if len(areas) == 1 else address("area_list") if areas else None
    places = [
        ("Today", address("today")),
        ("Area", area),
        ("Readings", address("reading_list")),
        ("Probes", address("probe_list")),
        ("Drift", address("outlook_list")),
        ("Quarantine", address("case_list")),
        ("Records", address("record_form")),
        ("Set-up", None if person.kitchen else address("site_list")),
    ]
    counts = {"Quarantine": unsigned(doubts_seen_by(person))}
    return [Link(label, url, label == here, counts.get(label, 0)) for label, url in places if url]


def account_links(request) -> list[Link]:
    """One query, for the count of what is unread."""
    notices = Link("Notices", address("notice_list"), count=unread(request.user))
    return [notices, Link("Your account", address("account"))]
