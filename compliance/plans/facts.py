"""The facts that the folds go by, read from the database: what was ever set for sites, probes and limits."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from itertools import pairwise

from compliance.appliances.queries import absences_of, presence_of
from compliance.limits.models import Limit, LimitVersion
from shared.prepared import Prepared, keys
from sites.models import Site, SiteSettings

from .models import Round
from .obligations import SiteFacts
from .queries import calendars, known_settings
from .round_obligations import LimitFacts, RoundSet, VersionSet, asked_of_itself


def site_facts(sites: Iterable[Site]) -> dict[int, SiteFacts]:
    """By the site's key. Load their `area` with them; a constant number of queries."""
    sites = {site.pk: site for site in sites}
    known = known_settings(sites)
    return {
        pk: SiteFacts(pk, calendar, _closings(known[pk]), sites[pk].name)
        for pk, calendar in calendars(sites.values(), known).items()
    }


def _closings(known: Sequence[SiteSettings]) -> tuple[tuple[datetime, bool], ...]:
    """When a site was closed for good, or opened again."""
    return tuple((b.recorded_at, b.closed) for a, b in pairwise(known) if a.closed != b.closed)


AS_SET = ("effective_from", "recorded_at", "pk")
_ROUNDS = Prepared(lambda: Round.objects.filter(limit__in=keys()).order_by(*AS_SET))
_VERSIONS = Prepared(
    lambda: (
        LimitVersion.objects.filter(limit__in=keys())
        .order_by(*AS_SET)
        .values_list("limit", "effective_from", "recorded_at", "in_force")
    )
)
Line = tuple[int, int | None]  # the keys of a limit, and of one of its appliances


def limit_facts(limits: Iterable[Limit], sites: Mapping[int, SiteFacts]) -> dict[Line, LimitFacts]:
    """Of those of these limits that ever had rounds, and of each of their appliances. Four queries."""
    limits = {limit.pk: limit for limit in limits}
    rounds, versions = defaultdict(list), defaultdict(list)
    for each in _ROUNDS.objects(limits):
        rounds[each.limit_id].append(RoundSet(each.effective_from, each.recorded_at, each.in_force, each.as_plan()))
    for pk, *version in _VERSIONS.rows(rounds):
        versions[pk].append(VersionSet(*version))
    presences, absences, found = presence_of(rounds), absences_of(rounds), {}
    for pk, several in rounds.items():
        site, set_for = sites[limits[pk].site_id], (tuple(several), tuple(versions[pk]))
        present = presences.get(pk, {})
        found[pk, None] = LimitFacts(site, *set_for, asked_of_itself(present.values()), limit=pk)
        for appliance, known in present.items():
            found[pk, appliance] = LimitFacts(site, *set_for, tuple(known), tuple(absences[appliance]), pk, appliance)
    return found
