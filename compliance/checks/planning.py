"""What follows for probes where plans and calendars change: due times made again, and when the next check of each is due."""

from collections.abc import Iterable
from datetime import UTC

from compliance.plans.calendar import DAY, local_day
from compliance.plans.queries import PlanBook
from compliance.plans.slots import expand
from compliance.probes.models import Probe
from shared import clock
from sites.models import Site

from .fallen import move_ends, write_down
from .falling_due import BY_PLAN, plan_ahead
from .lifting import follow_moved
from .models import ProbeState
from .stays import stays_of
from .timeline import lock


def hold(probe: Probe, *other_sites: int) -> Probe:
    """The probe as it is now, held with its site until the transaction ends: sites before probes, so that none wait in a ring."""
    held = {probe.site_id, *other_sites}
    list(Site.objects.select_for_update(no_key=True).filter(pk__in=held).order_by("pk").values_list("pk"))
    return lock(probe)


def hold_sites(site_ids: Iterable[int]) -> None:
    """Hold sites and the probes there until the transaction ends, and write down what has fallen due by now.

    Call it before a change of plans or calendars: what is due by the old ones stays in the record.
    """
    chosen = sorted(set(site_ids))
    list(Site.objects.select_for_update(no_key=True).filter(pk__in=chosen).order_by("pk").values_list("pk"))
    list(Probe.objects.select_for_update(no_key=True).filter(site__in=chosen).order_by("pk").values_list("pk"))
    write_down(clock.now(), site_ids=chosen)


def make_slots(site_ids: Iterable[int]) -> None:
    """Make the due times ahead of these sites, from yesterday on wherever they are."""
    expand(site_ids, local_day(clock.now(), UTC) - DAY)


def refresh_states(site_ids: list[int]) -> None:
    """Work out again when each probe at these sites is due; no check is read. The queries do not grow with the probes.

    Call it inside the transaction of the change.
    """
    held = (
        Probe.objects.select_for_update(of=("self",), no_key=True)
        .filter(site__in=site_ids)
        .select_related("site__area")
    )
    probes = {probe.pk: probe for probe in held.order_by("pk")}
    states = list(ProbeState.objects.filter(probe__site__in=site_ids))
    before = {state.pk: (_said(state), state.due_at) for state in states}
    plan_ahead(states, probes, PlanBook.of_sites(site_ids), stays_of(probes.values()))
    changed = [state for state in states if _said(state) != before[state.pk][0]]
    ProbeState.objects.bulk_create(
        changed, update_conflicts=True, unique_fields=["probe"], update_fields=BY_PLAN, batch_size=2000
    )
    now = clock.now()
    follow_moved([(state, before[state.pk][1]) for state in changed], probes, now)
    move_ends(now, site_ids=site_ids)


def _said(state: ProbeState) -> tuple:
    return tuple(getattr(state, ProbeState._meta.get_field(name).attname) for name in BY_PLAN)
