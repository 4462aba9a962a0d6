"""Plans and calendars changed together with what follows from them.

What reaches one site or one probe is worked out in its own transaction. What reaches several is kept at once, and worked out
site by site: of a few before the page answers, of many by the minute's task. Until its turn a site keeps the rows that it had.
"""

import logging
import time
from collections.abc import Callable, Collection
from datetime import datetime
from functools import partial
from typing import TypeVar

from django.db import DatabaseError

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
from compliance.plans.pace import lock_sites
from compliance.plans.queries import PlanBook
from compliance.plans.round_rows import derive_rounds, extend_rounds
from shared import clock
from shared.audit.trail import together
from sites.actions import amend_site
from sites.models import Area, Business, Person, Site

from .actions import excuse_closed
from .queries import open_of_days

RETIRED = "the site no longer works under this limit"
ONE_BY_ONE = "other appliances are measured now"
FEW = 5  # sites, for which a page waits
SITES = 200  # at a time
Set = TypeVar("Set")
logger = logging.getLogger(__name__)


def settle_all(seconds: float | None = None) -> bool:
    """Work out what waits, the longest first; gives whether all is done. Safe to run again and at the same time."""
    begun, well = time.monotonic(), True
    for pk in list(Unsettled.objects.order_by("since", "pk").values_list("pk", flat=True)):
        if seconds is not None and time.monotonic() - begun > seconds:
            return False
        try:
            settle(pk)
        except DatabaseError:
            raise
        except Exception:  # what cannot be worked out for one holds up no others
            logger.exception("The rows of the site %s do not follow yet what was set for it.", pk)
            well = False
    return well


def extend_horizon(now: datetime) -> bool:
    """What a new day brings: rows further ahead; gives whether all went well. Run again it changes nothing, and it may
    run at the same time."""
    well, sites = extend(now), list(Site.objects.order_by("pk").values_list("pk", flat=True))
    for start in range(0, len(sites), SITES):
        well = _extend_rounds(sites[start : start + SITES], now) and well
    return well


def _extend_rounds(site_ids: list[int], now: datetime) -> bool:
    try:
        extend_rounds(site_ids, now)
    except DatabaseError:
        raise
    except Exception:
        logger.exception("Rows ahead: the readings of sites %s to %s wait for the next time", site_ids[0], site_ids[-1])
        return False
    return True


def _reached(*, site=None, area: Area | None = None, business: Business | None = None) -> list[int]:
    if site:
        return [site.pk]
    where = {"area": area} if area else {"area__business": business}
    return list(Site.objects.filter(**where).order_by("pk").values_list("pk", flat=True))


def _set_for(sites: Collection[int], act: Callable[[], Set]) -> Set:
    """What is set for one site is kept with what follows from it, or not at all."""
    with together():
        lock_sites(sites)
        fact = act()
        mark_unsettled(sites)
        if len(sites) == 1:
            settle(*sites)
    if 1 < len(sites) <= FEW:
        for pk in sites:
            settle(pk)
    return fact


def change_plan(*, by: Person, data: PlanData) -> CheckPlan:
    """As `plans.actions.set_plan`."""
    if data.probe is None:
        sites = _reached(site=data.site, business=data.business)
        return _set_for(sites, lambda: plans.set_plan(by=by, data=data))
    with together():
        held = hold(data.probe)
        book = PlanBook.of_scope(probe=held)
        plan = plans.set_plan(by=by, data=data, book=book)
        derive_with_states([held], clock.now(), CHANGED, book)
    return plan


def change_opening(*, site: Site, **given) -> Opening:
    """As `plans.actions.set_opening`."""
    return _set_for([site.pk], lambda: plans.set_opening(site=site, **given))


def add_closure(*, by: Person, data: ClosureData, excuse_open: bool = False) -> Closure:
    """As `plans.actions.close_days`. It lifts nothing that is due already; `excuse_open`: what is open of these days is
    excused with the same words."""
    sites = _reached(**data.scope)

    def close() -> Closure:
        closure = plans.close_days(by=by, data=data)
        if excuse_open and (left := open_of_days(sites, closure.first_day, closure.last_day, clock.now())):
            excuse_closed(by=by, closure=closure, reminders=left)
        return closure

    return _set_for(sites, close)


def strike_closure(*, closure: Closure, **given) -> ClosureVoid:
    """As `plans.actions.void_closure`."""
    sites = _reached(site=closure.site, area=closure.area, business=closure.business)
    return _set_for(sites, lambda: plans.void_closure(closure=closure, **given))


def change_site(*, site: Site, **given) -> Site:
    """As `sites.actions.amend_site`; another time zone, other holidays and a closing move what is to come."""
    return _set_for([site.pk], lambda: amend_site(site=site, **given))


@together()
def retire_limit(*, limit: Limit, **given) -> LimitVersion:
    """As `limits.actions.retire`. No more readings fall due from then on; what has fallen due stays."""
    return _with_its_rounds(limits.retire, limit, given)


@together()
def change_limit(*, limit: Limit, **given) -> LimitVersion:
    """As `limits.actions.change`; a limit that is in force again has its rounds again, from then on."""
    return _with_its_rounds(limits.change, limit, given)


def _with_its_rounds(act: Callable[..., LimitVersion], limit: Limit, given: dict) -> LimitVersion:
    lock_sites([limit.site_id])
    version = act(limit=limit, **given)
    derive_rounds([limit.site_id], clock.now(), f"{RETIRED}, entered by {version.recorded_by}")
    return version


def add_appliance(*, limit: Limit, **given) -> Appliance:
    """As `appliances.actions.add_appliance`. From then on rounds of the limit ask for it; what has fallen due stays."""
    return _with_rounds_of(limit.site_id, partial(appliances.add_appliance, limit=limit, **given), ONE_BY_ONE)


def change_appliance(*, appliance: Appliance, **given) -> Appliance:
    """As `appliances.actions.amend_appliance`; where it is retired nothing more falls due for it."""
    act = partial(appliances.amend_appliance, appliance=appliance, **given)
    return _with_rounds_of(appliance.site_id, act, ONE_BY_ONE)


@together()
def take_out_of_use(*, appliance: Appliance, **given) -> OutOfUse:
    """As `appliances.actions.take_out_of_use`. What fell due in that time is not owed, and says so."""
    lock_sites([appliance.site_id])
    made = appliances.take_out_of_use(appliance=appliance, **given)
    because = f"out of use, {made.words}; entered by {made.recorded_by}"
    derive_rounds([appliance.site_id], clock.now(), because, made.starts_at)
    return made


def put_back_in_use(*, out_of_use: OutOfUse, **given) -> BackInUse:
    """As `appliances.actions.put_back_in_use`. Rounds ask for it again from then on."""
    act = partial(appliances.put_back_in_use, out_of_use=out_of_use, **given)
    return _with_rounds_of(out_of_use.appliance.site_id, act, ONE_BY_ONE)


def void_out_of_use(*, out_of_use: OutOfUse, **given) -> OutOfUseVoid:
    """As `appliances.actions.void_out_of_use`. What fell due in that time was owed."""
    act = partial(appliances.void_out_of_use, out_of_use=out_of_use, **given)
    return _with_rounds_of(out_of_use.appliance.site_id, act, ONE_BY_ONE, out_of_use.starts_at)


@together()
def _with_rounds_of(site_id: int, act: Callable[[], Set], because: str, since: datetime | None = None) -> Set:
    lock_sites([site_id])
    made = act()
    derive_rounds([site_id], clock.now(), because, since)
    return made
