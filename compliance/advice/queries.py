"""What the advice rests on: the checks of probes, what happened to them, how much is read with them. Constant queries."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.db import connection
from django.db.models import Count, F, IntegerField, Max, Min, OuterRef, Q, QuerySet, Subquery, Value, Window
from django.db.models.functions import Abs, Cast, Coalesce, RowNumber

from compliance.checks.kinds import USUAL
from compliance.checks.models import Check, Stage, Verdict
from compliance.plans.queries import plans_in_force
from compliance.probes.models import ALTERATIONS, Event, EventKind, Probe
from compliance.readings.models import Reading
from shared.bounds import EARLIEST
from sites.access import sites_of
from sites.models import Person

from .outlook import Outlook
from .probe_history import DAY, NO_FIGURE, Past, PastCheck, PastEvent, Tried

SEEN = timedelta(days=730)  # an instrument of two years ago says little of the one of today
KEPT = 250  # checks of one probe, two years of weekly ones twice over; a fit slows down faster than they grow
IN_USE = timedelta(days=60)
MOST_ALIKE = 200  # others that a probe is compared with: see `_alike`


@dataclass
class _Gathered:
    seen: list[PastCheck] = field(default_factory=list)
    happened: list[PastEvent] = field(default_factory=list)


def pasts_of(probes: Sequence[Probe], now: datetime) -> list[Past]:
    """The history of each of these probes: five queries, however many and however long."""
    gathered = {probe.pk: _Gathered() for probe in probes}
    for pk, seen in _checks(gathered, now):
        into = gathered[pk].happened if isinstance(seen, PastEvent) else gathered[pk].seen
        into.append(seen)
    for pk, happened in _events(gathered, now):
        gathered[pk].happened.append(happened)
    rates, plans = reading_rates(gathered), plans_in_force(probes)
    return [
        Past(probe, tuple(found.seen[-KEPT:]), tuple(found.happened), rates.get(probe.pk), plans[probe.pk].plan.days)
        for probe in probes
        for found in [gathered[probe.pk]]
    ]


def _checks(probes: Iterable[int], now: datetime):
    checks = (
        Check.objects.live()
        .filter(
            probe__in=list(probes),
            kind=USUAL.value,
            checked_at__gt=now - SEEN,
        )
        .exclude(verdict=Verdict.INCONCLUSIVE)
    )
    told = ("probe_id", "checked_at", "error_milli", "expanded_milli", "budget__coverage_factor", "verdict", "stage")
    for pk, at, error, expanded, factor, verdict, stage in checks.order_by("checked_at", "pk").values_list(*told):
        if error is None:
            yield pk, PastEvent(at, NO_FIGURE, "a check without a figure")
            continue
        standard = expanded / float(factor or 2)
        yield pk, PastCheck(at, error, expanded, standard, verdict == Verdict.IN_TOLERANCE, stage == Stage.AS_LEFT)


def _events(probes: Iterable[int], now: datetime):
    kinds = (*ALTERATIONS, EventKind.DROPPED)
    found = Event.objects.live().filter(probe__in=list(probes), kind__in=kinds, at__gt=now - SEEN)
    for event in found.order_by("at", "pk"):
        yield event.probe_id, PastEvent(event.at, event.kind, event.get_kind_display())


def reading_rates(probes: Iterable[int]) -> dict[int, float]:
    """Readings a day of each probe over the last 60 days in which it was in use; probes without readings are left out."""
    newest = Reading.objects.filter(probe=OuterRef("pk")).order_by("-taken_at").values("taken_at")[:1]
    lasts = Probe.objects.filter(pk__in=list(probes)).annotate(last=Subquery(newest)).values_list("pk", "last")
    ranges = [Q(probe=pk, taken_at__gt=last - IN_USE) for pk, last in lasts if last and last.date() >= EARLIEST]
    if not ranges:
        return {}
    recent = Reading.objects.live().filter(_any(ranges)).order_by().values_list("probe_id")
    rows = recent.annotate(n=Count("pk"), first=Min("taken_at"), last=Max("taken_at"))
    return {pk: n / max((last - first) / DAY, 1.0) for pk, n, first, last in rows}


def _any(conditions: list[Q]) -> Q:
    found = conditions[0]
    for condition in conditions[1:]:
        found |= condition
    return found


FLEET = """
WITH told AS (
    SELECT c.probe_id, p.business_id, p.sensor, c.checked_at, c.verdict, c.stage, c.error_milli,
        LAG(c.checked_at) OVER w AS before_at, LAG(c.verdict) OVER w AS before_verdict
    FROM checks_check c JOIN probes_probe p ON p.id = c.probe_id
    WHERE c.probe_id IN ({probes}) AND c.kind = %s AND c.verdict <> %s AND c.checked_at > %s
        AND NOT EXISTS (SELECT 1 FROM checks_checkvoid v WHERE v.voids_id = c.id)
    WINDOW w AS (PARTITION BY c.probe_id ORDER BY c.checked_at, c.id)
), trials AS (
    SELECT probe_id, business_id, sensor, {quarters} AS quarters, CASE WHEN verdict = %s THEN 0 ELSE 1 END AS failed
    FROM told t
    WHERE before_verdict = %s AND stage = %s AND error_milli IS NOT NULL AND NOT EXISTS (
        SELECT 1 FROM probes_event e WHERE e.probe_id = t.probe_id AND e.kind IN ({alterations})
            AND e.at >= t.before_at AND e.at <= t.checked_at
            AND NOT EXISTS (SELECT 1 FROM probes_eventvoid ev WHERE ev.voids_id = e.id))
)
SELECT business_id, sensor, probe_id, quarters, COUNT(*), SUM(failed) FROM trials
WHERE quarters > 0 GROUP BY business_id, sensor, probe_id, quarters ORDER BY probe_id, quarters
"""
QUARTERS = {
    "sqlite": "CAST(ROUND((julianday(checked_at) - julianday(before_at)) * 4) AS INTEGER)",
    "postgresql": "CAST(ROUND(EXTRACT(EPOCH FROM checked_at - before_at) / 21600) AS INTEGER)",
}
Kinds = dict[tuple[int, str], dict[int, list[Tried]]]


def tried_by_kind(probes: Sequence[Probe], now: datetime) -> Kinds:
    """The trials of probes of the same kind of sensor in the same business: two queries."""
    alike = _alike(probes)
    if not alike:
        return {}
    asked = {
        "quarters": QUARTERS[connection.vendor],
        "probes": ", ".join(["%s"] * len(alike)),
        "alterations": ", ".join(["%s"] * len(ALTERATIONS)),
    }
    since = connection.ops.adapt_datetimefield_value(now - SEEN)
    good = Verdict.IN_TOLERANCE.value
    given = [*alike, USUAL.value.value, Verdict.INCONCLUSIVE.value, since, good, good]
    found: Kinds = {}
    with connection.cursor() as cursor:
        cursor.execute(FLEET.format(**asked), [*given, Stage.AS_FOUND.value, *(kind.value for kind in ALTERATIONS)])
        for business, sensor, probe, quarters, checks, failed in cursor.fetchall():
            kind = found.setdefault((business, sensor), {})
            kind.setdefault(probe, []).append(Tried(quarters / 4, checks, int(failed)))
    return found


def _alike(probes: Iterable[Probe]) -> list[int]:
    """Of each kind MOST_ALIKE probes, and one, which may be the probe asked about: those in use first, and of those the
    longest in the book, so that what a page reads does not grow with the business. The rate of a kind is weighed by how much
    was seen of it: fewer probes give a wider interval and no wrong one.
    """
    kinds = {(probe.business_id, probe.sensor) for probe in probes}
    if not kinds:
        return []
    place = Window(RowNumber(), partition_by=["business", "sensor"], order_by=["withdrawn", "pk"])
    of_kinds = Probe.objects.filter(_any([Q(business=business, sensor=sensor) for business, sensor in sorted(kinds)]))
    placed = of_kinds.order_by().annotate(place=place).filter(place__lte=MOST_ALIKE + 1)
    return list(placed.values_list("pk", flat=True))


def outlooks_of(probes: Sequence[Probe], now: datetime) -> list[Outlook]:
    """What lies ahead of each of these probes: seven queries. Load their business and site with them."""
    from .forecast import Alike, look_ahead

    kinds = {kind: Alike.of(trials) for kind, trials in tried_by_kind(probes, now).items()}
    nobody = Alike.of({})
    return [
        look_ahead(
            past,
            kinds.get((past.probe.business_id, past.probe.sensor), nobody).but(past.probe.pk, MOST_ALIKE),
            target=past.probe.business.reliability_target,
            now=now,
        )
        for past in pasts_of(probes, now)
    ]


def probes_by_need(person: Person) -> QuerySet[Probe]:
    """The probes in use at sites of a person, those first that used most of their tolerance at the last check.

    `used` is that share in thousandths, the uncertainty of the check included; -1 without a check.
    """
    last = "state__last_check__"
    share = (Abs(F(f"{last}error_milli")) + F(f"{last}expanded_milli")) * 1000 / F("tolerance_milli")
    found = Probe.objects.filter(site__in=sites_of(person).filter(closed=False), withdrawn=False)
    used = Coalesce(Cast(share, IntegerField()), Value(-1))
    return found.select_related("site", "business", "state").annotate(used=used).order_by("-used", "pk")
