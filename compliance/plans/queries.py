"""Which plan is in force for which probe and where it comes from; the calendars of sites; rounds: reads that pages share."""

import json
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from itertools import pairwise
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db.models import Exists, OuterRef, Q, QuerySet, TextField
from django.db.models.functions import Cast
from django.utils import timezone

from compliance.limits.models import Limit
from compliance.probes.models import Probe, Sensor
from shared.prepared import Prepared, keys
from sites.models import Site, SiteSettings

from .calendar import Calendar, Closed, Former, Hours, Week, local_day, public_holidays
from .models import CheckPlan, Closure, Opening, Round
from .schedule import Candidate, Plan, Stretch, plan_at, stretches

# How near a scope is; the nearest plan in force counts.
OF_PROBE, OF_KIND_AT_SITE, OF_SITE, OF_KIND, OF_BUSINESS, OF_START = range(6)


@dataclass(frozen=True, slots=True)
class InForce:
    """The plan in force and where it comes from; `record` is None for the plan that every business starts with."""

    plan: Plan
    rank: int
    record: CheckPlan | None

    @property
    def source(self) -> str:
        """Such as “its own plan” or “the plan of Alder School”."""
        return scope_words(self.record) if self.record else "the plan that every business starts with"


@dataclass(frozen=True, slots=True)
class Reach:
    """What a plan is asked for: a probe, or any probe of a kind at a site or in a business."""

    business_id: int
    site_id: int | None = None
    sensor: str = ""
    probe_id: int | None = None

    @classmethod
    def of(cls, probe: Probe, at: Site | None = None) -> "Reach":
        """A probe where it is now, or at another site."""
        return cls(probe.business_id, at.pk if at else probe.site_id, probe.sensor, probe.pk)

    def keys(self) -> list[tuple]:
        """The scopes that reach it, by rank."""
        return [
            (self.probe_id and ("probe", self.probe_id, "")),
            (self.site_id and self.sensor and self._at_site(self.sensor)),
            (self.site_id and self._at_site("")),
            (self.sensor and ("business", self.business_id, self.sensor)),
            ("business", self.business_id, ""),
        ]

    @classmethod
    def of_scope(cls, *, probe=None, site: Site | None = None, business=None, sensor: str = "") -> "Reach":
        """Of a plan: a probe, a site or a business, or those of a kind there."""
        if probe:
            return cls.of(probe)
        return cls(site.area.business_id if site else business.pk, site and site.pk, sensor)

    @property
    def rank(self) -> int:
        """That of its own scope, the nearest that reaches it."""
        return next(rank for rank, key in enumerate(self.keys()) if key)

    def _at_site(self, sensor: str) -> tuple:
        return ("site", self.site_id, sensor)


class PlanBook:
    """The plans that reach some probes, sites or businesses: one query for any number."""

    def __init__(self, records: Iterable[CheckPlan]):
        self._by_scope: dict[tuple, list[CheckPlan]] = defaultdict(list)
        self._records = {}
        for record in records:
            self.add(record)

    @classmethod
    def of_probes(cls, probes: Iterable[Probe], *, at: Collection[Site] = ()) -> "PlanBook":
        """Where they are now and at these sites. Load their `area` with them."""
        probes = list(probes)
        sites = {*(p.site_id for p in probes), *(site.pk for site in at)}
        businesses = {*(p.business_id for p in probes), *(site.area.business_id for site in at)}
        return cls(_PLANS.objects([p.pk for p in probes], sites=sites, businesses=businesses))

    @classmethod
    def of_scope(cls, *, probe=None, site: Site | None = None, business=None, sensor: str = "") -> "PlanBook":
        """All that reaches what a plan names; a probe wherever it ever was."""
        if probe:
            business, placed = probe.business_id, Q(site=probe.site_id) | Q(site__in=probe.placements.values("site"))
            reaching = Q(probe=probe) | Q(business=business) | placed
        else:
            reaching = Q(business=business or site.area.business_id) | (Q(site=site) if site else Q(pk=None))
        return cls(CheckPlan.objects.filter(reaching).select_related("site", "business"))

    @classmethod
    def at_sites(cls, site_ids: Iterable[int], probe_ids: Iterable[int]) -> "PlanBook":
        """Those that reach these probes, which are at these sites."""
        sites = list(site_ids)
        reaching = Q(probe__in=list(probe_ids)) | Q(site__in=sites) | Q(business__areas__sites__in=sites)
        return cls(CheckPlan.objects.filter(pk__in=CheckPlan.objects.filter(reaching).values("pk")))

    @property
    def names_kinds(self) -> bool:
        """Whether a plan of a kind of sensor is among them."""
        return any(sensor for _, _, sensor in self._by_scope)

    def is_own(self, probe_id: int) -> bool:
        """Whether a plan was ever set for just this probe."""
        return ("probe", probe_id, "") in self._by_scope

    def candidates(self, reach: Reach) -> list[Candidate]:
        return [
            Candidate(rank, record.effective_from, record.pk, record.in_force, record.as_plan(), record.recorded_at)
            for rank, key in enumerate(reach.keys())
            for record in self._by_scope.get(key, ())
        ]

    def at(self, reach: Reach, day: date) -> InForce:
        """What is in force on a local day."""
        return self._found(reach, plan_at(self.candidates(reach), day))

    def wider(self, reach: Reach, day: date) -> InForce:
        """What would be in force without a plan of its very own."""
        return self._found(reach, plan_at([c for c in self.candidates(reach) if c.rank > reach.rank], day))

    def _found(self, reach: Reach, plan: Plan) -> InForce:
        record = self._records.get(plan.key)
        rank = reach.keys().index(scope_key(record)) if record else OF_START
        return InForce(plan, rank, record)

    def stretches(self, reach: Reach) -> list[Stretch]:
        """Which plan is in force from when."""
        return stretches(self.candidates(reach))

    def set_for(self, reach: Reach) -> list[CheckPlan]:
        """What was ever set for one scope, the one that counts last first."""
        known = self._by_scope.get(reach.keys()[reach.rank], ())
        return sorted(known, key=lambda p: (p.effective_from, p.pk), reverse=True)

    def newest(self, reach: Reach) -> CheckPlan | None:
        """The last that was set for one scope."""
        return max(self.set_for(reach), key=lambda p: p.pk, default=None)

    def add(self, record: CheckPlan) -> None:
        self._by_scope[scope_key(record)].append(record)
        self._records[record.pk] = record


_PLANS = Prepared(
    lambda: CheckPlan.objects.filter(
        Q(probe__in=keys()) | Q(site__in=keys("sites")) | Q(business__in=keys("businesses"))
    ).select_related("site", "business")
)


def scope_key(plan: CheckPlan) -> tuple:
    name = next(name for name in ("probe", "site", "business") if getattr(plan, f"{name}_id"))
    return name, getattr(plan, f"{name}_id"), plan.sensor


def scope_words(plan: CheckPlan) -> str:
    if plan.probe_id:
        return "its own plan"
    kind = f" for probes with the sensor “{Sensor(plan.sensor).label}”" if plan.sensor else ""
    return f"the plan of {plan.site or plan.business}{kind}"


def sites_reached(*, probe=None, site=None, area=None, business=None) -> list[Site]:
    """The sites that a scope reaches. Raises ValidationError where not exactly one is named."""
    if sum(each is not None for each in (probe, site, area, business)) != 1:
        raise ValidationError("Name one of a probe, a site, an area and a business.")
    if probe or site:
        return [site or probe.site]
    return list(Site.objects.filter(**({"area": area} if area else {"area__business": business})))


def plan_in_force(probe: Probe, day: date | None = None) -> InForce:
    """The plan of a probe on a local day (today at its site), and which scope it comes from."""
    return plans_in_force([probe], day)[probe.pk]


def plans_in_force(probes: Iterable[Probe], day: date | None = None) -> dict[int, InForce]:
    """The same for many probes, by the probe's key: one query. Load their `site` with them."""
    probes, now = list(probes), timezone.now()
    book = PlanBook.of_probes(probes)
    return {p.pk: book.at(Reach.of(p), day or local_day(now, p.site.zone)) for p in probes}


def calendars(sites: Iterable[Site], known: Mapping[int, Sequence[SiteSettings]] | None = None) -> dict[int, Calendar]:
    """The calendar of each site, by the site's key: three queries. Load their `area` with them. `known`: where it is read
    already, as `known_settings` gives it."""
    sites = list(sites)
    known = _changed_settings(s.pk for s in sites) if known is None else known
    weeks, closures = defaultdict(list), defaultdict(list)
    for pk, since, hours, told in _OPENINGS.rows(s.pk for s in sites):
        weeks[pk].append(Week(since, _hours(hours), told))
    areas = {*(s.area_id for s in sites), *(each.area_id for told in known.values() for each in told)}
    businesses = {s.area.business_id for s in sites}
    for *scopes, first, last, why, told, struck in _CLOSURES.rows(
        (s.pk for s in sites), areas=areas, businesses=businesses
    ):
        scope = next((name, pk) for name, pk in zip(SCOPES_CLOSED, scopes, strict=True) if pk)
        closures[scope].append(Closed(first, last, why, told, struck))
    return {
        s.pk: _calendar(
            _clock(s),
            tuple(weeks[s.pk]),
            (*closures["site", s.pk], *closures["business", s.area.business_id]),
            tuple(closures["area", s.area_id]),
            s.closed,
            tuple(
                (until, _clock(then), tuple(closures["area", then.area_id]))
                for then, until in _former_days(known[s.pk])
            ),
        )
        for s in sites
    }


Clock = tuple[str, str, str, bool]


def _clock(site: Site | SiteSettings) -> Clock:
    return site.time_zone, site.country, site.subdivision, site.closed_on_holidays


@lru_cache(maxsize=16)
def _calendar(
    clock: Clock,
    weeks: tuple[Week, ...],
    closures: tuple[Closed, ...],
    closures_of_area: tuple[Closed, ...],
    closed: bool,
    formers: tuple[tuple[datetime, Clock, tuple[Closed, ...]], ...],
) -> Calendar:
    """Those of late are kept: what a calendar has found of its days serves the next fold, too."""
    zone, *days = clock
    return Calendar(
        ZoneInfo(zone),
        weeks=weeks,
        holidays=_holidays(*days),
        closed=closed,
        closures=closures,
        closures_of_area=closures_of_area,
        formers=tuple(
            Former(until, ZoneInfo(zone), _holidays(*days), reaching) for until, (zone, *days), reaching in formers
        ),
    )


def known_settings(sites: Iterable[int]) -> dict[int, list[SiteSettings]]:
    """What was ever recorded of each site, the first first; what fell due went by what was known, not by later corrections."""
    return _by_site(_SETTINGS.objects(sites))


def _changed_settings(sites: Iterable[int]) -> dict[int, list[SiteSettings]]:
    """The same of those sites of which more than the first was recorded: the others have had one calendar."""
    return _by_site(_CHANGED.objects(sites))


def _by_site(settings: Iterable[SiteSettings]) -> dict[int, list[SiteSettings]]:
    known = defaultdict(list)
    for each in settings:
        known[each.site_id].append(each)
    return known


def _former_days(known: Sequence[SiteSettings]) -> Iterator[tuple[SiteSettings, datetime]]:
    """What was set for the days of a site and was changed, the oldest first, and until when."""
    for then, after in pairwise(known):
        if (then.area_id, _clock(then)) != (after.area_id, _clock(after)):
            yield then, after.recorded_at


SCOPES_CLOSED = ("site", "area", "business")


def closures_reaching(sites: Iterable[Site]) -> QuerySet[Closure]:
    """The closures of these sites, of their areas and of their businesses that count."""
    sites = list(sites)
    areas, businesses = {s.area_id for s in sites}, {s.area.business_id for s in sites}
    return _ever_reaching([s.pk for s in sites], areas, businesses).live()


def _ever_reaching(sites, areas, businesses) -> QuerySet[Closure]:
    """Whatever `…__in` takes of each."""
    reaching = Q(site__in=sites) | Q(area__in=areas) | Q(business__in=businesses)
    return Closure.objects.filter(reaching).select_related("void").order_by("first_day", "pk")


_CLOSURES = Prepared(
    lambda: _ever_reaching(keys(), keys("areas"), keys("businesses")).values_list(
        *SCOPES_CLOSED, "first_day", "last_day", "why", "recorded_at", "void__recorded_at"
    )
)
_OPENINGS = Prepared(
    lambda: (
        Opening.objects.filter(site__in=keys())
        .order_by("effective_from", "recorded_at", "pk")
        .values_list("site", "effective_from", Cast("hours", TextField()), "recorded_at")
    )
)
_SETTINGS = Prepared(lambda: SiteSettings.objects.filter(site__in=keys()).order_by("pk"))
_CHANGED = Prepared(
    lambda: SiteSettings.objects.filter(
        Exists(SiteSettings.objects.filter(site=OuterRef("site")).exclude(pk=OuterRef("pk"))), site__in=keys()
    ).order_by("pk")
)


@lru_cache(maxsize=256)
def _hours(written: str) -> tuple[Hours | None, ...]:
    """Of an opening as it is kept: many sites have the same."""
    return Opening(hours=json.loads(written)).as_hours()


def holidays_of(site: Site | SiteSettings):
    """The public holidays on which a site is closed."""
    return _holidays(site.country, site.subdivision, site.closed_on_holidays)


def _holidays(country: str, subdivision: str, closed: bool):
    return public_holidays(country, subdivision) if closed and country else {}


def opening_in_force(site: Site, day: date) -> Opening | None:
    return Opening.objects.filter(site=site, effective_from__lte=day).order_by("-effective_from", "-pk").first()


def rounds_in_force(limits: Iterable[Limit], day: date) -> dict[int, Round]:
    """The round of each limit on a local day, by the limit's key; limits without one are left out. One query."""
    begun = Round.objects.filter(limit__in=list(limits), effective_from__lte=day).order_by("effective_from", "pk")
    latest = {each.limit_id: each for each in begun}
    return {pk: each for pk, each in latest.items() if each.in_force}
