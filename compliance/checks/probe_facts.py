"""The facts of probes that the fold of due checks goes by, read from the database."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, time

from compliance.plans.calendar import local_day
from compliance.plans.demands import Checked, Happened
from compliance.plans.facts import site_facts
from compliance.plans.obligations import Folded, ProbeFacts, Stay, folded
from compliance.plans.queries import OF_KIND, OF_KIND_AT_SITE, PlanBook, Reach
from compliance.plans.schedule import Candidate
from compliance.probes.models import Event, Placement, Probe, ProbeParticulars
from shared.bounds import EARLIEST
from shared.prepared import Prepared, keys
from sites.models import Site

from .models import Check

CHECKED = (
    "checked_at",
    "verdict",
    "stage",
    "pk",
    "kind",
    "reference_milli",
    "budget__conformity__conditional",
    "typing__showed",
    "typing__unfinished",
)
_CHECKED = Prepared(lambda: Check.objects.live().filter(probe__in=keys()).order_by("pk").values_list("probe", *CHECKED))
_HAPPENED = Prepared(
    lambda: (
        Event.objects.live()
        .filter(probe__in=keys())
        .order_by("at", "pk")
        .values_list("probe", "at", "kind", "pk", "note")
    )
)
_PLACED = Prepared(
    lambda: Placement.objects.filter(probe__in=keys()).select_related("site__area").order_by("starts_at", "pk")
)
BEGUN = datetime.combine(EARLIEST, time(), UTC)
OF_A_KIND = (OF_KIND_AT_SITE, OF_KIND)
ORDERS = 10**12  # more than there are plans


def probe_facts(probes: Iterable[Probe], book: PlanBook | None = None) -> dict[int, ProbeFacts]:
    """By the probe's key. The queries do not grow with the probes. `book`: the plans that reach them, where they are known."""
    probes = {probe.pk: probe for probe in probes}
    checks, events, placed = defaultdict(list), defaultdict(list), defaultdict(list)
    for pk, *told in _CHECKED.rows(probes):
        checks[pk].append(Checked(*told))
    for pk, at, kind, order, note in _HAPPENED.rows(probes):
        events[pk].append(Happened(at, kind, order, note.strip()))
    rows = _PLACED.objects(probes)
    sites = {row.site_id: row.site for row in rows}
    known, book = site_facts(sites.values()), book or PlanBook.of_probes(probes.values(), at=sites.values())
    kinds = _former_kinds(probes) if book.names_kinds else {}
    for row in rows:
        stays = placed[row.probe_id]
        if stays and stays[-1].start == row.starts_at:
            stays.pop()  # of two placements that begin together the last recorded counts
        if not stays or stays[-1].site.key != row.site_id:
            plans = tuple(_candidates(book, probes[row.probe_id], row.site, kinds.get(row.probe_id, ())))
            stays.append(Stay(known[row.site_id], row.starts_at, plans, row.reason))
    return {pk: ProbeFacts(tuple(checks[pk]), tuple(events[pk]), tuple(placed[pk]), pk) for pk in probes}


def fold(facts: ProbeFacts, until: datetime) -> Folded:
    """All that is asked for of a probe; what was stored of a time before there were bounds is taken as of their first day."""
    moments = (*(each.at for each in (*facts.checks, *facts.events)), *(stay.start for stay in facts.stays))
    return folded(facts if min(moments, default=BEGUN) >= BEGUN else _within_bounds(facts), until)


def _within_bounds(facts: ProbeFacts) -> ProbeFacts:
    checks = tuple(replace(each, at=max(each.at, BEGUN)) for each in facts.checks)
    events = tuple(replace(each, at=max(each.at, BEGUN)) for each in facts.events)
    stays = tuple(replace(stay, start=max(stay.start, BEGUN)) for stay in facts.stays)
    return replace(facts, checks=checks, events=events, stays=stays)


def _former_kinds(probe_ids: Iterable[int]) -> dict[int, list[tuple[datetime, str]]]:
    """Of which kind each of these probes was before, the oldest first, and until when."""
    found, kinds = defaultdict(list), {}
    facts = ProbeParticulars.objects.filter(probe__in=list(probe_ids)).order_by("pk")
    for pk, at, sensor in facts.values_list("probe", "recorded_at", "sensor"):
        if kinds.setdefault(pk, sensor) != sensor:
            found[pk].append((at, kinds[pk]))
        kinds[pk] = sensor
    return found


def _candidates(
    book: PlanBook, probe: Probe, site: Site, formers: Iterable[tuple[datetime, str]]
) -> Iterator[Candidate]:
    """The plans that ever reached a probe at a site. Those of a kind count while it was of that kind, as was known then."""
    reach, begin = Reach.of(probe, site), None
    for number, (end, sensor) in enumerate([*formers, (None, probe.sensor)]):
        day = begin and local_day(begin, site.zone)
        for each in book.candidates(replace(reach, sensor=sensor)):
            of_kind, order = each.rank in OF_A_KIND, number * ORDERS + each.order
            if of_kind and (end is None or each.told < end):
                late = begin is not None and each.told < begin
                yield (
                    replace(each, order=order, told=begin, since=max(each.since, day))
                    if late
                    else replace(each, order=order)
                )
                if end:  # from then on it is of another kind
                    over = {"since": local_day(end, site.zone), "order": (number + 1) * ORDERS, "told": end}
                    yield replace(each, in_force=False, **over)
            elif not of_kind and end is None:
                yield each
        begin = end
