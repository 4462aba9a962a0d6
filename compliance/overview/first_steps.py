"""What an area lacks before its first check is recorded: derived from what is in the book, and gone once nothing is left."""

from dataclasses import dataclass
from functools import reduce
from operator import or_
from typing import NamedTuple

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery
from django.urls import reverse

from compliance.checks.kinds import USUAL
from compliance.checks.models import Check
from compliance.limits.models import Limit
from compliance.plans.models import CheckPlan
from compliance.probes.models import Probe
from shared.prepared import Prepared, Slot
from sites.access import keys_of_areas
from sites.models import Area, Membership, Person, Site

# A check that is being made and a link that is shown once: nothing may draw the eye away.
UNDISTURBED = ("zero_check", "boiling_check", "today_together", "person_add", "person_password")


@dataclass(frozen=True, slots=True)
class FirstStep:
    """`url`: None while a step before it is missing without which it cannot be done. `offered`: pages with a button of their
    own for it."""

    title: str
    why: str
    button: str
    done: bool
    url: str | None
    offered: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Start:
    """How far an area has come."""

    steps: tuple[FirstStep, ...]
    checked: bool

    @property
    def done(self) -> int:
        return sum(step.done for step in self.steps)

    @property
    def next(self) -> FirstStep | None:
        return next((step for step in self.steps if not step.done), None)


class WhatAnAreaHas(NamedTuple):
    """What an area has, asked with one query."""

    first_site: int | None
    first_probe: int | None
    limited: bool
    planned: bool
    joined: bool
    checked: bool


def start_of(area: int, person: Person) -> Start:
    """Of the area of this key. One query."""
    (row,) = _KNOWN.rows(area=area, person=person.pk)
    known = WhatAnAreaHas(*row)
    return Start(_steps(known), known.checked)


def next_step(person: Person, page: str, path: str) -> Start | None:
    """What a page leads on to while its reader, a supervisor, has an area without any check, the newest; None where it leads
    itself. Nearly every area has a check: asked first, for the rest takes a database several times as long to plan."""
    area = None if page.startswith(UNDISTURBED) else max(keys_of_areas(person), default=None)
    if not area or _CHECKED.rows(area=area):
        return None
    start = start_of(area, person)
    if start.next is None:
        return None
    there = page in start.next.offered or path == (start.next.url or "").partition("?")[0]
    return None if there else start


def _checks_in(area) -> QuerySet[Check]:
    return Check.objects.live().filter(site__area=area)


def _known() -> QuerySet:
    sites = Site.objects.filter(area=OuterRef("pk"), closed=False).order_by("pk")
    probes = Probe.objects.filter(site__area=OuterRef("pk"), site__closed=False, withdrawn=False).order_by("pk")
    others = Membership.objects.filter(person__is_active=True).exclude(person=Slot("person"))
    limits = Limit.objects.filter(site__area=OuterRef("pk"))
    plans = CheckPlan.objects.filter(in_force=True)
    return (
        Area.objects.filter(pk=Slot("area"))
        .annotate(
            first_site=Subquery(sites.values("pk")[:1]),
            first_probe=Subquery(probes.values("pk")[:1]),
            limited=Exists(limits),
            planned=_any(plans, "business", "site__area", "probe__site__area"),
            joined=_any(others, "area", "site__area"),
            checked=Exists(_checks_in(OuterRef("pk"))),
        )
        .values_list(*WhatAnAreaHas._fields)
    )


def _any(records: QuerySet, *ways: str) -> Q:
    """Whether one belongs to the area or its business. Each way is looked up on its own, by its index."""
    belongs = (Exists(records.filter(**{way: OuterRef("business" if way == "business" else "pk")})) for way in ways)
    return reduce(or_, belongs)


_KNOWN = Prepared(_known)
_CHECKED = Prepared(lambda: _checks_in(Slot("area")).order_by().values_list("pk")[:1])


def _steps(known: WhatAnAreaHas) -> tuple[FirstStep, ...]:
    def at(name, key, query=""):
        return f"{reverse(name, args=[key] if key and not query else [])}{query}" if key else None

    site, probe = known.first_site, known.first_probe
    limit_pages = ("limit_list", "limit_add", "limit_adopt_rule")
    first = "In ice water, step by step. Until then no reading can be relied on."
    return (
        FirstStep(
            "A site",
            "Where food is cooked, kept or served.",
            "Add a site",
            bool(site),
            reverse("site_add"),
            ("site_list",),
        ),
        FirstStep(
            "Its limits",
            "What its food has to keep to.",
            "Choose the limits",
            known.limited,
            at("limit_adopt", site),
            limit_pages,
        ),
        FirstStep(
            "A probe",
            "Each thermometer, with the code on its label.",
            "Add a probe",
            bool(probe),
            at("probe_add", site, f"?site={site}"),
            ("probe_list",),
        ),
        FirstStep(
            "The people",
            "Who checks, reads and decides, each with a sign-in of their own.",
            "Add a person",
            known.joined,
            reverse("person_add"),
            ("people",),
        ),
        FirstStep("A plan", "How often each probe is checked.", "Set the plan", known.planned, at("plan_site", site)),
        FirstStep("The first check", first, "Check the probe", known.checked, at(USUAL.guidance.address, probe)),
    )
