"""The facts that the folds go by, read from the database: what was ever set for sites, probes and limits."""

from collections import defaultdict
from collections.abc import Iterable, Mapping

from compliance.limits.models import Limit, LimitVersion
from shared.audit.models import Entry
from sites.models import Site

from .models import Round
from .obligations import SiteFacts
from .queries import calendars
from .round_obligations import LimitFacts, RoundSet, VersionSet


def site_facts(sites: Iterable[Site]) -> dict[int, SiteFacts]:
    """By the site's key. Load their `area` with them; a constant number of queries."""
    sites = {site.pk: site for site in sites}
    closings = defaultdict(list)
    amended = Entry.objects.filter(
        action="site.amend",
        subject_type=Site._meta.label_lower,
        subject_id__in=list(sites),
        data__changes__has_key="closed",
    )
    for pk, at, data in amended.order_by("at", "pk").values_list("subject_id", "at", "data"):
        closings[pk].append((at, data["changes"]["closed"][1] == "True"))
    return {
        pk: SiteFacts(pk, calendar, tuple(closings[pk]), sites[pk].name)
        for pk, calendar in calendars(sites.values()).items()
    }


def limit_facts(limits: Iterable[Limit], sites: Mapping[int, SiteFacts]) -> dict[int, LimitFacts]:
    """Of those of these limits that ever had rounds, by the limit's key. Two queries."""
    limits = {limit.pk: limit for limit in limits}
    rounds, versions = defaultdict(list), defaultdict(list)
    for each in Round.objects.filter(limit__in=list(limits)).order_by("effective_from", "recorded_at", "pk"):
        rounds[each.limit_id].append(RoundSet(each.effective_from, each.recorded_at, each.in_force, each.as_plan()))
    for version in LimitVersion.objects.filter(limit__in=list(rounds)).order_by("effective_from", "recorded_at", "pk"):
        versions[version.limit_id].append(VersionSet(version.effective_from, version.recorded_at, version.in_force))
    return {
        pk: LimitFacts(sites[limits[pk].site_id], tuple(several), tuple(versions[pk])) for pk, several in rounds.items()
    }
