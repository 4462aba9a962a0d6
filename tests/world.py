"""A small invented world: two businesses that do not know each other, and a person of every role."""

import uuid
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from functools import cache

from django.contrib.auth.hashers import make_password
from django.utils import timezone

from compliance.limits.models import Direction, Limit, LimitVersion, Origin
from compliance.probes.models import Placement, Probe, Sensor
from compliance.readings.models import Reading
from shared.units import Unit, to_milli
from sites.models import Area, Business, Membership, Person, Role, Site

LONG_AGO = datetime(2020, 1, 1, tzinfo=UTC)
PASSWORD = "quiet-lantern-47"


@dataclass
class World:
    business: Business
    area: Area
    site: Site
    other_site: Site
    far_area: Area
    far_site: Site
    foreign_site: Site
    manager: Person
    supervisor: Person
    reader: Person
    cook: Person
    stranger: Person
    rival: Person
    limit: Limit
    probe: Probe

    @classmethod
    def build(cls) -> "World":
        business = make_business("Larkfield Kitchens")
        area, far_area = make_area(business, "North"), make_area(business, "South")
        site, other_site = make_site(area, "Alder School"), make_site(area, "Birch House")
        far_site = make_site(far_area, "Cedar School")
        foreign_area = make_area(make_business("Other Meals"), "Centre")
        foreign_site = make_site(foreign_area, "Elsewhere Canteen")
        people = {
            "manager": make_person("Mara Holt", Role.MANAGER, site=site),
            "supervisor": make_person("Sol Venn", Role.SUPERVISOR, area=area),
            "reader": make_person("Rue Danby", Role.READER, site=site),
            "cook": make_person("Col Esker", Role.COOK, site=site),
            "stranger": make_person("Nye Farrow", Role.MANAGER, site=foreign_site),
            "rival": make_person("Ren Ostrow", Role.SUPERVISOR, area=foreign_area),
        }
        limit = make_limit(site, by=people["manager"])
        probe = make_probe(site, "P1", by=people["manager"], limits=[limit])
        return cls(
            business, area, site, other_site, far_area, far_site, foreign_site, limit=limit, probe=probe, **people
        )


def make_business(name: str) -> Business:
    business = Business.objects.create(name=name)
    business.record_settings(by=None)
    return business


def make_area(business: Business, name: str) -> Area:
    return Area.objects.create(business=business, name=name)


def make_site(area: Area, name: str, **fields) -> Site:
    site = Site.objects.create(area=area, name=name, time_zone="Europe/London", **fields)
    site.record_settings(by=None)
    return site


@cache
def hashed(password: str) -> str:
    """As it is kept, and once in a process: outside of the tests' own, hashing takes a third of a second each time."""
    return make_password(password)


def make_person(name: str, role: int | None = None, *, site=None, area=None) -> Person:
    first, last = name.split()
    email = f"{first}.{last}@example.test".lower()
    person = Person.objects.create(email=email, password=hashed(PASSWORD), name=name, initials=first[0] + last[0])
    if role is not None:
        Membership.objects.create(person=person, role=role, site=site, area=area)
    return person


def make_limit(
    site: Site,
    *,
    by: Person,
    code="cold-holding",
    direction=Direction.AT_MOST,
    value="5",
    unit=Unit.CELSIUS,
    hold_s=None,
    within_s=None,
    effective_from=LONG_AGO,
) -> Limit:
    """A limit with one version, which was recorded when it began."""
    title = code.replace("-", " ").capitalize()
    limit = Limit.objects.create(site=site, code=code, step=title, title=title, hazard="growth of bacteria")
    times = {"hold_s": hold_s, "within_s": within_s, "effective_from": effective_from}
    times["recorded_at"] = min(effective_from, timezone.now())
    make_version(limit, by=by, direction=direction, value=value, unit=unit, **times)
    return limit


def make_version(limit: Limit, *, by: Person, value="5", unit=Unit.CELSIUS, **fields) -> LimitVersion:
    """Another version of a limit; say `effective_from` and what differs."""
    fields = {"direction": Direction.AT_MOST, "effective_from": LONG_AGO, "usual_action": "Move it.", **fields}
    return LimitVersion.objects.create(
        limit=limit,
        value=Decimal(value),
        unit=unit,
        value_milli=to_milli(Decimal(value), unit),
        source="House rule",
        origin=Origin.PRACTICE,
        recorded_by=by,
        **fields,
    )


def make_probe(site: Site, code: str, *, by: Person, limits=(), starts_at=None, **fields) -> Probe:
    """A probe with its placement at `site`."""
    fields = {"sensor": Sensor.THERMISTOR, **fields}
    probe = Probe.objects.create(business=site.area.business, site=site, code=code, **fields)
    probe.record_settings(by=by)
    probe.limits.set(limits)
    starts_at = starts_at or datetime(2025, 1, 1, tzinfo=UTC)
    Placement.objects.create(probe=probe, site=site, starts_at=starts_at, recorded_by=by)
    return probe


def make_reading(probe: Probe, limit: Limit, typed: str, taken_at: datetime, *, by: Person, site=None) -> Reading:
    """A reading in °C of soup, straight into its table, against the limit's first version."""
    return Reading.objects.create(
        key=uuid.uuid4().hex,
        probe=probe,
        site=site or limit.site,
        limit_version=limit.versions.earliest("effective_from"),
        item="Soup",
        typed=typed,
        unit=Unit.CELSIUS,
        value_milli=to_milli(Decimal(typed), Unit.CELSIUS),
        taken_at=taken_at,
        taken_by=by,
        recorded_by=by,
    )
