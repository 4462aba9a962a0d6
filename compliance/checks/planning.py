"""What follows for probes where plans, days of work or settings are changed: site by site, a few probes at a time."""

from collections.abc import Iterable

from django.db import transaction

from compliance.plans.models import Unsettled
from compliance.plans.pace import lock_sites
from compliance.plans.round_rows import derive_rounds
from compliance.probes.models import Probe
from shared import clock

from .check_rows import derive_with_states
from .timeline import lock

PROBES = 8  # at a time, so that nobody waits for long
CHANGED = "plans, days of work or settings were changed"


def hold(probe: Probe, *other_sites: int) -> Probe:
    """The probe as it is now, held with its site until the transaction ends: sites before probes, so that none wait in a ring."""
    lock_sites({probe.site_id, *other_sites})
    return lock(probe)


def mark_unsettled(site_ids: Iterable[int]) -> None:
    """Something was set for these sites: their rows follow when it is their turn (`settle`)."""
    now = clock.now()
    marks = [Unsettled(site_id=pk, first=now, since=now) for pk in site_ids]
    Unsettled.objects.bulk_create(
        marks, update_conflicts=True, unique_fields=["site"], update_fields=["since"], batch_size=1000
    )


def settle(site_id: int) -> None:
    """Derive the rows of a site, a few probes a transaction; run again it ends the same. What is set meanwhile waits its turn."""
    first, since = Unsettled.objects.filter(site=site_id).values_list("first", "since").first() or (None, None)
    last = 0
    while last is not None:
        with transaction.atomic():
            lock_sites([site_id])
            last = _settle_some(site_id, last)
            if last is None:
                derive_rounds([site_id], clock.now(), CHANGED, first)
                Unsettled.objects.filter(site=site_id, since=since).delete()


def _settle_some(site_id: int, after: int) -> int | None:
    """The last of a few probes; None where there are no more."""
    held = Probe.objects.select_for_update(of=("self",), no_key=True)
    probes = list(held.filter(site=site_id, pk__gt=after).order_by("pk")[:PROBES])
    if probes:
        derive_with_states(probes, clock.now(), CHANGED)
    return probes[-1].pk if len(probes) == PROBES else None
