"""What needs attention, at one site or over an area: a constant number of queries at any size."""

from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, F, Q, QuerySet

from compliance.checks.models import ProbeState, Standing
from compliance.checks.queries import to_be_checked
from compliance.probes.models import Probe
from compliance.quarantine.cases import Doubts
from compliance.readings.queries import open_deviations
from compliance.reminders.queries import Asked, asked_checks
from shared.key_lists import among
from sites.models import Site


def probes_in_use(site: Site) -> list[Probe]:
    """The probes at a site that are in use, or put aside and still to be checked, the most urgent check first."""
    related = ("state", "state__last_check", "site")
    soonest = F("state__due_at").asc(nulls_first=True)
    probes = Probe.objects.filter(to_be_checked(), site=site).select_related(*related)
    return list(probes.order_by(soonest, "code"))


def state_of(probe: Probe) -> ProbeState:
    """What the checks say of a probe; one that was never checked has no row yet."""
    return getattr(probe, "state", None) or ProbeState(
        probe=probe, standing=Standing.UNPROVEN, due_because="never checked"
    )


def due_by(probe: Probe, moment: datetime) -> bool:
    """Whether a check of this probe falls due by then; one of which nothing is kept yet is due at once."""
    state = state_of(probe)
    return state._state.adding or (state.due_at is not None and state.due_at <= moment)


def end_of_today(site: Site, now: datetime) -> datetime:
    """The next midnight on the site's clock."""
    local = now.astimezone(site.zone)
    midnight = datetime.combine(local.date() + timedelta(days=1), datetime.min.time(), site.zone)
    return midnight.astimezone(now.tzinfo)


@dataclass(frozen=True, slots=True)
class Attention:
    """What a site asks of its supervisor."""

    site: Site
    probes: int
    out_of_tolerance: int
    overdue: int
    in_doubt: int
    deviations: int

    @property
    def weight(self) -> tuple[bool, int, int, int]:
        calls = self.out_of_tolerance + self.overdue + self.in_doubt + self.deviations
        return (calls == 0, -self.in_doubt - self.out_of_tolerance, -self.deviations, -self.overdue)


def attention(sites: Iterable[Site], now: datetime, known: Doubts | None = None) -> list[Attention]:
    """One line a site, those that need somebody first. `known`: what is in doubt at these sites and more."""
    sites = list(sites)
    ids = [site.pk for site in sites]
    probes = _per_site(Probe.objects.filter(site__in=among(ids), withdrawn=False))
    waits = _waiting(ids, now, known)
    lines = [Attention(site, probes[site.pk], *(counts[site.pk] for counts in waits)) for site in sites]
    return sorted(lines, key=lambda line: (line.weight, line.site.name))


def sites_that_call(site_ids: Iterable[int], now: datetime, known: Doubts) -> set[int]:
    """Those of these sites that need somebody, as `attention` has them."""
    ids = set(site_ids)
    return {pk for counts in _waiting(ids, now, known) for pk, count in counts.items() if count and pk in ids}


def _waiting(ids: Collection[int], now: datetime, known: Doubts | None) -> tuple[Counter[int], ...]:
    """By site, in the order of `Attention`: probes out of tolerance, checks overdue, readings in doubt, deviations."""
    in_use = Probe.objects.filter(site__in=among(ids), withdrawn=False)
    failed = _per_site(in_use.filter(state__standing=Standing.QUARANTINED))
    overdue = Counter(probe.site_id for probe, _ in overdue_checks(ids, now, "site", "code"))
    deviations = Counter(
        dict(open_deviations(among(ids)).order_by().values_list("reading__site").annotate(Count("pk")))
    )
    in_doubt: Counter[int] = Counter()
    for doubt in (known or Doubts(ids)).runs:
        in_doubt[doubt.site_id] += doubt.undecided
    return failed, overdue, in_doubt, deviations


def overdue_checks(site_ids: Iterable[int], now: datetime, *columns: str) -> list[tuple[Probe, Asked | None]]:
    """Probes in use, or put aside and still to be checked, whose grace is over and that nobody excused, as the page of the day
    has them; None: never checked. `columns`: all that is wanted of each, where that is less than everything."""
    probes = Probe.objects.filter(to_be_checked(), site__in=among(site_ids))
    probes = probes.only(*columns) if columns else probes
    late = list(probes.filter(Q(state__isnull=True) | Q(state__grace_at__lte=now)).order_by("code", "pk"))
    asked = asked_checks([probe.pk for probe in late], now) if late else {}
    found = ((probe, asked.get(probe.pk)) for probe in late)
    return [
        (probe, each) for probe, each in found if probe.pk not in asked or (each is not None and each.grace_at <= now)
    ]


def _per_site(probes: QuerySet[Probe]) -> Counter[int]:
    return Counter(dict(probes.order_by().values_list("site").annotate(Count("pk"))))
