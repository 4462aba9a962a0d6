"""Reads of readings and deviations that pages and the floors above share."""

from datetime import datetime, timedelta
from uuid import UUID

from django.db import connection
from django.db.models import CharField, DateTimeField, Exists, F, OuterRef, Prefetch, Q, QuerySet, Subquery
from django.db.models.expressions import RawSQL
from django.utils import timezone

from compliance.checks.fitness import fitness_of
from compliance.checks.models import Span, Standing
from compliance.checks.queries import standing_subquery
from compliance.checks.span_times import holds, holds_sql
from compliance.limits.models import Limit, LimitVersion
from compliance.limits.queries import limits_in_force
from compliance.probes.models import Event, Placement, Probe
from shared import clock
from shared.audit.models import Entry
from shared.key_lists import among
from shared.keyset import Narrowing
from shared.prepared import Prepared, Slot
from sites.access import keys_of_sites, sites_of
from sites.models import Person, Role, Site

from .keys import form_key, sent_as
from .limit_evaluation import Track
from .models import CorrectiveAction, Deviation, Disposition, Reading, ReadingVoid


def _settling(**whose) -> QuerySet[CorrectiveAction]:
    """What was done about a deviation, and counts: food that is held apart still waits for somebody to say what becomes of it."""
    return CorrectiveAction.objects.current().filter(**whose).exclude(disposition=Disposition.HELD)


SETTLED = Exists(_settling(deviation=OuterRef("pk")))  # whether a deviation is done with
# Standings that few spans have.
RARE = (Standing.QUARANTINED, Standing.UNPROVEN)
MANY_SITES = 100
FEW_SITES = 10
# How long after the act an entry still counts as made at the time.
MADE_AT_THE_TIME = timedelta(hours=2)


_SENT = Prepared(
    lambda: (
        Reading.objects.filter(
            key__in=[Slot("key", CharField()), Slot("of_old", CharField())], site=Slot("site"), source=None
        )
        .order_by()
        .values_list("pk")[:1]
    )
)


def sent_before(site: Site, sent: str | UUID) -> Reading | None:
    """What a form with this key recorded at a site when it came the first time."""
    found = _SENT.rows(site=site.pk, key=form_key(site.pk, sent), of_old=sent_as(sent))
    return Reading.objects.select_related("limit_version").get(pk=found[0][0]) if found else None


def readings_seen_by(person: Person) -> QuerySet[Reading]:
    """The readings at sites where this person has a role, with all that a list shows, void ones too.

    `deviated`, `settled` and `voided` are the keys of its deviation, of what was done about that, and of what struck it out.
    Of a list of keys PostgreSQL knows how many rows they have; of a query that finds them it expects most. It takes longer to
    plan a join of nine tables than to read a page of each.
    """
    return (
        read_at(keys_of_sites(person))
        .select_related("site", "probe", "appliance")
        .prefetch_related(_WITH_LIMIT)
        .annotate(
            standing=standing_subquery(),
            deviated=_key_of(Deviation.objects.filter(reading=OuterRef("pk"))),
            settled=_key_of(_settling(deviation__reading=OuterRef("pk"))),
            voided=_key_of(ReadingVoid.objects.filter(voids=OuterRef("pk"))),
        )
    )


_WITH_LIMIT = Prefetch("limit_version", LimitVersion.objects.select_related("limit"))


def _key_of(records: QuerySet) -> Subquery:
    """One at most, by an index. Of whether there is any PostgreSQL may go through all there are."""
    return Subquery(records.order_by().values("pk")[:1])


def read_at(sites: list[int]) -> QuerySet[Reading]:
    """Readings at these sites, so that the newest are found without sorting all.

    Given several sites, SQLite would gather every row of each and sort them; `+ 0` keeps it on the index by time. Given very
    many, PostgreSQL would look up each of them in every other index.
    """
    if len(sites) > (1 if connection.vendor == "sqlite" else MANY_SITES):
        return Reading.objects.alias(place=F("site_id") + 0).filter(place__in=among(sites))
    return Reading.objects.filter(site__in=sites)


def near_at(sites: list[int], site: str = "site", time: str = "taken_at") -> Narrowing:
    """Of a list of readings (or what else has a site and a time) at several sites those that may be on its first page, found by
    each site's own index.

    By time alone one would go through those of all other sites, too. As many sites as the page has places fill it with
    one reading each, and so does one site that has as many readings: nothing beyond is on the page.
    """

    def narrow(readings: QuerySet[Reading], newest: bool, most: int) -> QuerySet[Reading]:
        way, later, nearest = ("-", "gte", max) if newest else ("", "lte", min)
        own = readings.filter(**{site: OuterRef("pk")}).order_by(f"{way}{time}").values(time)
        asked = Site.objects.order_by().annotate(first=Subquery(own[:1])).filter(first__isnull=False)
        firsts = sorted(asked.filter(pk__in=among(sites)).values_list("first", "pk"), reverse=newest)
        edge = firsts[:most][-1][0] if firsts else None
        near = [pk for first, pk in firsts if nearest(first, edge) == first]
        ends = Site.objects.filter(pk__in=among(near)).order_by().annotate(end=Subquery(own[most - 1 : most]))
        found = [end for end in ends.values_list("end", flat=True) if end] + [edge] * (len(firsts) >= most)
        reached = {f"{time}__{later}": nearest(found)} if found else {}
        return readings.filter(**{f"{site}__in": among(near)}, **reached)

    return narrow


# From the spans to their readings, and not the other way: PostgreSQL would join all that was ever read.
_INSIDE = {
    "postgresql": f"""SELECT r.id FROM checks_span s CROSS JOIN LATERAL (
        SELECT r.id FROM readings_reading r WHERE r.probe_id = s.probe_id AND {holds_sql("s", "r.taken_at")} OFFSET 0) r
        WHERE s.standing = %s""",
    "sqlite": f"""SELECT r.id FROM checks_span s CROSS JOIN readings_reading r
        WHERE r.probe_id = s.probe_id AND {holds_sql("s", "r.taken_at")} AND s.standing = %s""",
}
_OF_NO_TIMELINE = """ UNION ALL SELECT r.id FROM probes_probe p CROSS JOIN readings_reading r
    WHERE r.probe_id = p.id AND (SELECT s.id FROM checks_span s WHERE s.probe_id = p.id LIMIT 1) IS NULL"""


def with_standing(readings: QuerySet[Reading], standing: str, few: list[int]) -> QuerySet[Reading]:
    """Only those of this standing. What is in doubt is few spans, so it is found from their side.

    Every probe has a span before its first check: at `few` sites, where they are named, there are fewer readings.
    """
    if standing == Standing.UNPROVEN and few:
        return readings.filter(standing=standing, site__in=few)
    if standing not in RARE:
        return readings.filter(Exists(_span_over(OuterRef("probe_id"), OuterRef("taken_at")).filter(standing=standing)))
    sql = _INSIDE[connection.vendor]
    if standing == Standing.UNPROVEN:  # a probe that nobody has checked yet has no timeline at all
        sql += _OF_NO_TIMELINE
    return readings.filter(pk__in=RawSQL(sql, [standing]))


def _span_over(probe_id, at) -> QuerySet[Span]:
    return Span.objects.filter(holds(at), probe=probe_id)


def is_lost(reading: Reading) -> bool:
    """Whether it is known by now that its probe failed, or was altered unchecked, between the good check before it and now."""
    over = _span_over(reading.probe_id, reading.taken_at).filter(ends_at__lte=clock.now())
    return over.filter(standing=Standing.QUARANTINED).exists()


def span_of(reading: Reading) -> Span | None:
    """The span of the probe's timeline that a reading falls in; None while the timeline has not been cut."""
    return _span_over(reading.probe_id, reading.taken_at).select_related("behind", "ahead", "doubt").first()


def open_deviations(sites) -> QuerySet[Deviation]:
    """Deviations at these sites (whatever `…__in` takes) that wait: nothing was done yet, or the food is still held apart."""
    return Deviation.objects.live("reading").filter(~SETTLED, reading__site__in=sites)


def deviations_seen_by(person: Person) -> QuerySet[Deviation]:
    """Deviations at sites where this person has a role, with all that a list shows; those of void readings left out."""
    return (
        Deviation.objects.live("reading")
        .filter(reading__site__in=among(keys_of_sites(person)))
        .select_related("reading__site", "reading__taken_by")
        .prefetch_related("reading__taken_by__names")
        .annotate(settled=_key_of(_settling(deviation=OuterRef("pk"))), taken_at=F("reading__taken_at"))
    )


_PLACED = Prepared(
    lambda: (
        Placement.objects.filter(probe=Slot("probe")).order_by("starts_at", "pk").values_list("site_id", "starts_at")
    )
)
_HAPPENED = Prepared(
    lambda: Event.objects.live().filter(probe=Slot("probe")).order_by("at", "pk").values_list("kind", "at")
)


def track_of(probe: Probe) -> Track:
    """Where one probe was and whether it was in use."""
    return Track.of(probe, _PLACED.rows(probe=probe.pk), _HAPPENED.rows(probe=probe.pk))


def recording_sites(person: Person) -> QuerySet[Site]:
    """Where this person may record readings."""
    return sites_of(person, Role.COOK).filter(closed=False).select_related("area__business")


def probes_at(site: Site) -> QuerySet[Probe]:
    """Those in use that are at the site now."""
    return Probe.objects.filter(site=site, withdrawn=False).order_by("code")


def fit_probes(site: Site, limit_id: int | None, now: datetime, but: int, most: int = 3) -> list[Probe]:
    """Probes at a site that are OK to use now, those that serve a limit first; `but` is left out. At most six queries."""
    serves = Exists(Probe.limits.through.objects.filter(probe=OuterRef("pk"), limit=limit_id))
    here = list(probes_at(site).exclude(pk=but).annotate(serves=serves).order_by("-serves", "code"))
    judged = fitness_of([probe.pk for probe in here], now)
    return [probe for probe in here if judged[probe.pk].ok][:most]


_LIMITS = Prepared(lambda: limits_in_force(Slot("site"), Slot("at", DateTimeField())))


def limits_named_at(site: Site) -> list[Limit]:
    return _LIMITS.objects(site=site.pk, at=timezone.now())


def recent_items(site: Site, most: int = 40) -> list[str]:
    """Foods and units that were lately read here, the last first."""
    latest = Reading.objects.filter(site=site).order_by("-taken_at", "-pk").values_list("item", flat=True)[:400]
    return list(dict.fromkeys(latest))[:most]


def last_item(site: Site, limit_id: int) -> str:
    """The food or unit that was last read here under a limit, of the last few hundred readings; empty where none was."""
    latest = Reading.objects.filter(site=site).order_by("-taken_at", "-pk").select_related("limit_version")[:400]
    return next((each.item for each in latest if each.limit_version.limit_id == limit_id), "")


def trail_of(reading: Reading) -> QuerySet[Entry]:
    """What was done to a reading and about its deviation, the first first."""
    about = Q(subject_type="readings.reading", subject_id=reading.pk)
    deviation = getattr(reading, "deviation", None)
    if deviation:
        about |= Q(subject_type="readings.deviation", subject_id=deviation.pk)
    if reading.source_id:
        about |= Q(subject_type="readings.import", subject_id=reading.source_id)
    return Entry.objects.filter(about).order_by("at", "pk")
