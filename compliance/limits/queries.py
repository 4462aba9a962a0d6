"""Which limits hold where and when: reads that pages and the floors above share."""

from datetime import datetime

from django.db.models import DateTimeField, OuterRef, QuerySet, Subquery

from shared.prepared import Prepared, Slot
from sites.countries import names_country
from sites.models import Site

from .models import Limit, LimitVersion, Rule, RuleSet


def effective_at(at) -> QuerySet[LimitVersion]:
    """Versions that have begun by `at`, the one that counts first: the latest to begin, and of those the last recorded."""
    return LimitVersion.objects.filter(effective_from__lte=at).order_by("-effective_from", "-pk")


_THAT_COUNTS = Prepared(lambda: effective_at(Slot("at", DateTimeField())).filter(limit=Slot("limit"))[:1])


def version_in_force(limit: Limit, at: datetime) -> LimitVersion | None:
    """What the limit demands at a moment; None before its first version and while the site does not work under it."""
    for version in _THAT_COUNTS.objects(limit=limit.pk, at=at):
        if version.in_force:
            version.limit = limit
            return version
    return None


def versions_in_force(site: Site, at: datetime) -> QuerySet[LimitVersion]:
    """What each limit of a site demands at a moment, one version each, by step and title."""
    counts = effective_at(at).filter(limit=OuterRef("limit")).values("pk")[:1]
    versions = LimitVersion.objects.filter(limit__site=site, pk=Subquery(counts), in_force=True)
    return versions.select_related("limit").order_by("limit__step", "limit__title", "limit_id")


def limits_in_force(site: Site, at: datetime) -> QuerySet[Limit]:
    """The limits that a site works under at a moment."""
    versions = versions_in_force(site, at).order_by()
    return Limit.objects.filter(pk__in=versions.values("limit")).order_by("step", "title", "pk")


def limits_with_version(site: Site, at: datetime) -> QuerySet[Limit]:
    """All limits of a site; `counts` is the key of the version that counts at a moment, None where all are still to come."""
    counts = effective_at(at).filter(limit=OuterRef("pk")).values("pk")[:1]
    return Limit.objects.filter(site=site).annotate(counts=Subquery(counts)).order_by("step", "title", "pk")


def rule_sets_for(site: Site) -> list[RuleSet]:
    """All rule sets, those of the site's country first."""
    return sorted(RuleSet.objects.all(), key=lambda rules: not names_country(rules.jurisdiction, site.country))


def rules_to_adopt(site: Site) -> QuerySet[Rule]:
    """Rules that the site has no limit from."""
    return Rule.objects.exclude(limits__site=site).select_related("rule_set")


def history(limit: Limit) -> QuerySet[LimitVersion]:
    """Every version, the one that begins last first; of those that begin together, the last recorded."""
    return limit.versions.prefetch_related("recorded_by__names").order_by("-effective_from", "-pk")
