"""Plans and calendars changed together with what follows from them: when the next check of every probe there is due."""

from collections.abc import Iterable
from datetime import UTC

from django.db import transaction
from django.dispatch import Signal
from django.utils import timezone

from compliance.plans import actions as plans
from compliance.plans.calendar import DAY, local_day
from compliance.plans.models import CheckPlan, Closure, ClosureVoid, Opening
from compliance.plans.queries import PlanBook
from compliance.plans.slots import expand
from compliance.probes.models import Probe
from sites.actions import amend_site
from sites.models import Area, Business, Site

from .falling_due import BY_PLAN, plan_ahead
from .models import ProbeState
from .timeline import lock

BATCH = 200  # sites at a time, so that memory does not grow with the business
# Sent with `site_ids` in the transaction of the change, for the floors above.
due_times_moved = Signal()


def hold(probe: Probe, *other_sites: int) -> Probe:
    """The probe as it is now, held with its site until the transaction ends: sites before probes, so that none wait in a ring."""
    held = {probe.site_id, *other_sites}
    list(Site.objects.select_for_update().filter(pk__in=held).order_by("pk").values_list("pk"))
    return lock(probe)


def make_slots(site_ids: Iterable[int]) -> None:
    """Make the due times ahead of these sites, from yesterday on wherever they are."""
    expand(site_ids, local_day(timezone.now(), UTC) - DAY)


def refresh(site_ids: Iterable[int]) -> None:
    """Work out again when each probe at these sites is due; no check is read. The queries do not grow with the probes."""
    chosen = sorted(set(site_ids))
    for start in range(0, len(chosen), BATCH):
        with transaction.atomic():
            _refresh(chosen[start : start + BATCH])


def roll_over(site_ids: Iterable[int] | None = None) -> int:
    """What a new day brings: due times further ahead, plans that begin. Run again it changes nothing. Gives how many sites.

    For a task every night; safe to run twice and at the same time.
    """
    chosen = list(Site.objects.order_by("pk").values_list("pk", flat=True) if site_ids is None else site_ids)
    make_slots(chosen)
    refresh(chosen)
    return len(chosen)


def _refresh(site_ids: list[int]) -> None:
    held = Probe.objects.select_for_update(of=("self",)).filter(site__in=site_ids).select_related("site__area")
    probes = {probe.pk: probe for probe in held.order_by("pk")}
    states = list(ProbeState.objects.filter(probe__site__in=site_ids))
    before = {state.pk: _said(state) for state in states}
    plan_ahead(states, probes, PlanBook.of_sites(site_ids))
    changed = [state for state in states if _said(state) != before[state.pk]]
    ProbeState.objects.bulk_create(
        changed, update_conflicts=True, unique_fields=["probe"], update_fields=BY_PLAN, batch_size=2000
    )
    due_times_moved.send(sender=ProbeState, site_ids=site_ids)


def _said(state: ProbeState) -> tuple:
    return tuple(getattr(state, ProbeState._meta.get_field(name).attname) for name in BY_PLAN)


def _reached(*, probe=None, site=None, area: Area | None = None, business: Business | None = None) -> list[int]:
    if probe or site:
        return [site.pk if site else probe.site_id]
    where = {"area": area} if area else {"area__business": business}
    return list(Site.objects.filter(**where).values_list("pk", flat=True))


@transaction.atomic
def change_plan(*, probe=None, site=None, business=None, **given) -> CheckPlan:
    """As `plans.actions.set_plan`."""
    plan = plans.set_plan(probe=probe, site=site, business=business, **given)
    refresh(_reached(probe=probe, site=site, business=business))
    return plan


@transaction.atomic
def change_opening(*, site: Site, **given) -> Opening:
    """As `plans.actions.set_opening`."""
    opening = plans.set_opening(site=site, **given)
    refresh([site.pk])
    return opening


@transaction.atomic
def add_closure(*, site=None, area=None, business=None, **given) -> Closure:
    """As `plans.actions.close_days`."""
    closure = plans.close_days(site=site, area=area, business=business, **given)
    refresh(_reached(site=site, area=area, business=business))
    return closure


@transaction.atomic
def strike_closure(*, closure: Closure, **given) -> ClosureVoid:
    """As `plans.actions.void_closure`."""
    void = plans.void_closure(closure=closure, **given)
    refresh(_reached(site=closure.site, area=closure.area, business=closure.business))
    return void


@transaction.atomic
def change_site(*, site: Site, **given) -> Site:
    """As `sites.actions.amend_site`; another time zone, other holidays and a closing move what is due."""
    amended = amend_site(site=site, **given)
    roll_over([site.pk])
    return amended
