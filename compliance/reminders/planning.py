"""Plans and calendars changed together with what follows from them.

What reaches one site or one probe is worked out in its own transaction. What reaches several is kept at once, and worked out
site by site: of a few before the page answers, of many by the minute's task. Until its turn a site keeps the rows that it had.
"""

import time
from collections.abc import Callable, Iterable
from datetime import datetime
from functools import partial
from typing import TypeVar

from compliance.appliances import actions as appliances
from compliance.appliances.models import Appliance, BackInUse, OutOfUse, OutOfUseVoid
from compliance.checks.check_rows import derive_with_states
from compliance.checks.horizon import extend
from compliance.checks.planning import CHANGED, hold, mark_unsettled, settle
from compliance.limits import actions as limits
from compliance.limits.models import Limit, LimitVersion
from compliance.plans import actions as plans
from compliance.plans.data import ClosureData, PlanData
from compliance.plans.models import CheckPlan, Closure, ClosureVoid, Opening, Unsettled
from compliance.plans.pace import lock_sites, went_well
from compliance.plans.queries import PlanBook, sites_reached
from compliance.plans.round_rows import derive_rounds, extend_rounds
from shared import clock
from shared.audit.trail import together
from sites.actions import amend_site
from sites.models import Person, Site

from .actions import excuse_closed
from .queries import open_of_days

FEW = 5  # sites, for which a page waits
SITES = 200  # at a time
Set = TypeVar("Set")


def settle_all(seconds: float | None = None) -> bool:
    """Work out what waits, the longest first; gives whether all is done. Safe to run again and at the same time."""
    begun, well = time.monotonic(), True
    for pk in list(Unsettled.objects.order_by("since", "pk").values_list("pk", flat=True)):
        if seconds is not None and time.monotonic() - begun > seconds:
            return False
        words = f"The rows of the site {pk} do not follow yet what was set for it."
        well = went_well(partial(settle, pk), words) and well
    return well


def extend_horizon(now: datetime) -> bool:
    """What a new day brings: rows further ahead; gives whether all went well. Run again it changes nothing, and it may
    run at the same time."""
    well, sites = extend(now), list(Site.objects.order_by("pk").values_list("pk", flat=True))
    for start in range(0, len(sites), SITES):
        some = sites[start : start + SITES]
        words = f"The readings ahead of the sites from {some[0]} to {some[-1]} are left for the next time."
        well = went_well(partial(extend_rounds, some, now), words) and well
    return well


def _set_for(sites: Iterable[Site], act: Callable[[], Set]) -> Set:
    """What is set for one site is kept with what follows from it, or not at all."""
    keys = sorted(site.pk for site in sites)
    with together():
        lock_sites(keys)
        fact = act()
        mark_unsettled(keys)
        if len(keys) == 1:
            settle(*keys)
    if 1 < len(keys) <= FEW:
        for pk in keys:
            settle(pk)
    return fact


def change_plan(*, by: Person, data: PlanData) -> CheckPlan:
    """As `plans.actions.set_plan`."""
    if data.probe is None:
        sites = sites_reached(site=data.site, business=data.business)
        return _set_for(sites, lambda: plans.set_plan(by=by, data=data))
    with together():
        held = hold(data.probe)
        book = PlanBook.of_scope(probe=held)
        plan = plans.set_plan(by=by, data=data, book=book)
        derive_with_states([held], clock.now(), CHANGED, book)
    return plan


def change_opening(*, site: Site, **given) -> Opening:
    """As `plans.actions.set_opening`."""
    return _set_for([site], lambda: plans.set_opening(site=site, **given))


def add_closure(*, by: Person, data: ClosureData, excuse_open: bool = False) -> Closure:
    """As `plans.actions.close_days`. It lifts nothing that is due already; `excuse_open`: what is open of these days is
    excused with the same words."""
    sites = sites_reached(**data.scope)

    def close() -> Closure:
        closure = plans.close_days(by=by, data=data)
        if excuse_open and (left := open_of_days(sites, closure.first_day, closure.last_day, clock.now())):
            excuse_closed(by=by, closure=closure, reminders=left)
        return closure

    return _set_for(sites, close)


def strike_closure(*, closure: Closure, **given) -> ClosureVoid:
    """As `plans.actions.void_closure`."""
    sites = sites_reached(site=closure.site, area=closure.area, business=closure.business)
    return _set_for(sites, lambda: plans.void_closure(closure=closure, **given))


def change_site(*, site: Site, **given) -> Site:
    """As `sites.actions.amend_site`; another time zone, other holidays and a closing move what is to come."""
    return _set_for([site], lambda: amend_site(site=site, **given))


def retire_limit(*, limit: Limit, **given) -> LimitVersion:
    """As `limits.actions.retire`. No more readings fall due from then on; what has fallen due stays."""
    return _with_rounds(limit.site_id, partial(limits.retire, limit=limit, **given), _retired)


def change_limit(*, limit: Limit, **given) -> LimitVersion:
    """As `limits.actions.change`; a limit that is in force again has its rounds again, from then on."""
    return _with_rounds(limit.site_id, partial(limits.change, limit=limit, **given), _retired)


def _retired(version: LimitVersion) -> str:
    return f"the site no longer works under this limit, entered by {version.recorded_by}"


def add_appliance(*, limit: Limit, **given) -> Appliance:
    """As `appliances.actions.add_appliance`. From then on rounds of the limit ask for it; what has fallen due stays."""
    return _with_rounds(limit.site_id, partial(appliances.add_appliance, limit=limit, **given))


def change_appliance(*, appliance: Appliance, **given) -> Appliance:
    """As `appliances.actions.amend_appliance`; where it is retired nothing more falls due for it."""
    return _with_rounds(appliance.site_id, partial(appliances.amend_appliance, appliance=appliance, **given))


def take_out_of_use(*, appliance: Appliance, **given) -> OutOfUse:
    """As `appliances.actions.take_out_of_use`. What fell due in that time is not owed, and says so."""
    act = partial(appliances.take_out_of_use, appliance=appliance, **given)
    return _with_rounds(appliance.site_id, act, _out_of_use, lambda made: made.starts_at)


def _out_of_use(away: OutOfUse) -> str:
    return f"out of use, {away.words}; entered by {away.recorded_by}"


def put_back_in_use(*, out_of_use: OutOfUse, **given) -> BackInUse:
    """As `appliances.actions.put_back_in_use`. Rounds ask for it again from then on."""
    act = partial(appliances.put_back_in_use, out_of_use=out_of_use, **given)
    return _with_rounds(out_of_use.appliance.site_id, act)


def void_out_of_use(*, out_of_use: OutOfUse, **given) -> OutOfUseVoid:
    """As `appliances.actions.void_out_of_use`. What fell due in that time was owed."""
    act = partial(appliances.void_out_of_use, out_of_use=out_of_use, **given)
    return _with_rounds(out_of_use.appliance.site_id, act, since=lambda _: out_of_use.starts_at)


@together()
def _with_rounds(
    site_id: int,
    act: Callable[[], Set],
    because: Callable[[Set], str] = lambda made: "other appliances are measured now",
    since: Callable[[Set], datetime | None] = lambda made: None,
) -> Set:
    """What is set for the rounds of one site, with what follows: of what is to come or, where that is a fact of its own time, of
    what is due `since` it began."""
    lock_sites([site_id])
    made = act()
    derive_rounds([site_id], clock.now(), because(made), since(made))
    return made
