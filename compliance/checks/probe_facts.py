"""The facts of probes that the fold of due checks goes by, read from the database."""

from collections import defaultdict
from collections.abc import Iterable

from compliance.plans.demands import Checked, Happened
from compliance.plans.facts import site_facts
from compliance.plans.obligations import ProbeFacts, Stay
from compliance.plans.queries import PlanBook, Reach
from compliance.probes.models import Event, Placement, Probe

from .models import Check

CHECKED = (
    "checked_at", "verdict", "stage", "pk", "kind", "reference_milli", "budget__conformity__conditional", "typing__showed",
    "typing__unfinished",
)  # fmt: skip


def probe_facts(probes: Iterable[Probe]) -> dict[int, ProbeFacts]:
    """By the probe's key. The queries do not grow with the probes."""
    probes = {probe.pk: probe for probe in probes}
    checks, events, placed = defaultdict(list), defaultdict(list), defaultdict(list)
    for pk, *told in (
        Check.objects.filter(probe__in=probes, void__isnull=True).order_by("pk").values_list("probe", *CHECKED)
    ):
        checks[pk].append(Checked(*told))
    for each in Event.objects.filter(probe__in=probes, void__isnull=True):
        events[each.probe_id].append(Happened(each.at, each.kind, each.pk, each.note.strip()))
    rows = Placement.objects.filter(probe__in=probes).select_related("site__area").order_by("starts_at", "pk")
    sites = {row.site_id: row.site for row in rows}
    known, book = site_facts(sites.values()), PlanBook.of_probes(probes.values(), elsewhere=sites)
    for row in rows:
        stays = placed[row.probe_id]
        if stays and stays[-1].start == row.starts_at:
            stays.pop()  # of two placements that begin together the last recorded counts
        if not stays or stays[-1].site.key != row.site_id:
            plans = tuple(book.candidates(Reach.of(probes[row.probe_id], row.site)))
            stays.append(Stay(known[row.site_id], row.starts_at, plans, row.reason))
    return {pk: ProbeFacts(tuple(checks[pk]), tuple(events[pk]), tuple(placed[pk])) for pk in probes}
