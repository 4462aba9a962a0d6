"""Plans and calendars changed together with what follows from them, in one transaction: when the next check of every probe
there is due, and until when what is open may be done.
"""

from collections.abc import Callable, Iterable, Iterator

from django.db import transaction

from compliance.checks.planning import hold_sites, make_slots, refresh_states
from compliance.limits import actions as limits
from compliance.limits.models import Limit, LimitVersion
from compliance.plans import actions as plans
from compliance.plans.models import CheckPlan, Closure, ClosureVoid, Opening
from compliance.plans.round_rows import derive_rounds, extend_rounds
from shared import clock
from sites.actions import amend_site
from sites.models import Area, Business, Person, Site

from .actions import excuse_closed
from .queries import open_of_days

RETIRED = "the site no longer works under this limit"
BATCH = 200  # sites at a time, so that memory does not grow with the business


def refresh(site_ids: Iterable[int]) -> None:
    """Work out again when each probe at these sites is due; no check is read. The queries do not grow with the probes."""
    for some in _batches(site_ids):
        with transaction.atomic():
            refresh_states(some)


def roll_over(site_ids: Iterable[int] | None = None) -> int:
    """What a new day brings: due times further ahead, plans that begin. Run again it changes nothing. Gives how many sites.

    For a task every night; safe to run twice and at the same time.
    """
    chosen = list(Site.objects.order_by("pk").values_list("pk", flat=True) if site_ids is None else site_ids)
    for some in _batches(chosen):
        with transaction.atomic():
            hold_sites(some)
            make_slots(some)
            refresh_states(some)
        extend_rounds(some, clock.now())
    return len(chosen)


def _batches(site_ids: Iterable[int]) -> Iterator[list[int]]:
    chosen = sorted(set(site_ids))
    return (chosen[start : start + BATCH] for start in range(0, len(chosen), BATCH))


def _reached(*, probe=None, site=None, area: Area | None = None, business: Business | None = None) -> list[int]:
    if probe or site:
        return [site.pk if site else probe.site_id]
    where = {"area": area} if area else {"area__business": business}
    return list(Site.objects.filter(**where).values_list("pk", flat=True))


@transaction.atomic
def change_plan(*, probe=None, site=None, business=None, **given) -> CheckPlan:
    """As `plans.actions.set_plan`."""
    sites = _reached(probe=probe, site=site, business=business)
    hold_sites(sites)
    plan = plans.set_plan(probe=probe, site=site, business=business, **given)
    refresh(sites)
    return plan


@transaction.atomic
def change_opening(*, site: Site, **given) -> Opening:
    """As `plans.actions.set_opening`."""
    hold_sites([site.pk])
    opening = plans.set_opening(site=site, **given)
    refresh([site.pk])
    derive_rounds([site.pk], clock.now(), f"the site works at other hours, entered by {opening.recorded_by}")
    return opening


@transaction.atomic
def add_closure(*, by: Person, site=None, area=None, business=None, excuse_open: bool = False, **given) -> Closure:
    """As `plans.actions.close_days`; `excuse_open`: what is open of these days is excused with the same words."""
    sites = _reached(site=site, area=area, business=business)
    hold_sites(sites)
    closure = plans.close_days(by=by, site=site, area=area, business=business, **given)
    refresh(sites)
    derive_rounds(sites, clock.now(), f"{closure.why}, entered by {by}")
    if excuse_open and (left := open_of_days(sites, closure.first_day, closure.last_day, clock.now())):
        excuse_closed(by=by, closure=closure, reminders=left)
    return closure


@transaction.atomic
def strike_closure(*, closure: Closure, **given) -> ClosureVoid:
    """As `plans.actions.void_closure`."""
    sites = _reached(site=closure.site, area=closure.area, business=closure.business)
    hold_sites(sites)
    void = plans.void_closure(closure=closure, **given)
    refresh(sites)
    derive_rounds(sites, clock.now(), f"a closure was struck out, entered by {void.recorded_by}")
    return void


@transaction.atomic
def retire_limit(*, limit: Limit, **given) -> LimitVersion:
    """As `limits.actions.retire`. No more readings fall due from then on; what has fallen due stays."""
    return _with_its_rounds(limits.retire, limit, given)


@transaction.atomic
def change_limit(*, limit: Limit, **given) -> LimitVersion:
    """As `limits.actions.change`; a limit that is in force again has its rounds again, from then on."""
    return _with_its_rounds(limits.change, limit, given)


def _with_its_rounds(act: Callable[..., LimitVersion], limit: Limit, given: dict) -> LimitVersion:
    hold_sites([limit.site_id])
    version = act(limit=limit, **given)
    derive_rounds([limit.site_id], clock.now(), f"{RETIRED}, entered by {version.recorded_by}")
    return version


@transaction.atomic
def change_site(*, site: Site, **given) -> Site:
    """As `sites.actions.amend_site`; another time zone, other holidays and a closing move what is due."""
    hold_sites([site.pk])
    amended = amend_site(site=site, **given)
    derive_rounds([site.pk], clock.now(), "the site was changed")
    roll_over([site.pk])
    return amended
