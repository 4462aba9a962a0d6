"""What is written about plans: when checks and readings are due, and when a site works."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, time

from django.core.exceptions import ValidationError

from compliance.limits.models import Limit
from compliance.probes.models import Probe
from shared import clock
from shared.audit.trail import action, note
from shared.bounds import in_bounds
from shared.reasons import as_reason
from shared.stale_forms import entered, refuse_newer
from sites.models import Area, Business, Person, Site

from .calendar import DAY, earliest_day
from .models import CheckPlan, Closure, ClosureVoid, Opening, Round
from .queries import PlanBook, Reach, opening_in_force, plan_of_scope, plans_of, rounds_in_force, scope_words
from .round_rows import derive_rounds
from .schedule import ALL_WEEK, ON_WEEKDAYS, Plan
from .wording import closure_scope, day_words, span_words

FIGURES = ("pattern", "every_days", "weekdays", "at", "before_service", "minutes_before", "grace_minutes")
OVER = "Days that are over stay as they were. Begin today or later; what was missed is excused one by one."


@action("plan.set")
def set_plan(
    *,
    by: Person,
    probe: Probe | None = None,
    site: Site | None = None,
    business: Business | None = None,
    sensor: str = "",
    effective_from: date | None = None,
    in_force: bool = True,
    reason: str = "",
    after: int | None = None,
    **figures,
) -> CheckPlan:
    """When a probe, or those of a site or a business (of one kind, with `sensor`), are checked from a day on, today if none.

    `after`: the newest plan of this scope that `by` was shown. `in_force` False gives the next wider plan its place again. Raises
    ValidationError where nothing would change, where checks would be made less often, or a plan would begin in the past, and no
    reason is given, where somebody has set another one since, and for figures out of range; TypeError for a figure that a plan
    does not have.
    """
    if unknown := set(figures) - set(FIGURES):
        raise TypeError(f"A plan has no {', '.join(sorted(unknown))}.")
    sites = _sites_of(probe=probe, site=site, business=business)
    today = _today(sites)
    plan = CheckPlan(
        recorded_by=by,
        probe=probe,
        site=site,
        business=business,
        sensor=sensor,
        in_force=in_force,
        effective_from=effective_from or today,
        reason=as_reason(reason),
        **figures,
    )
    _check_plan(plan)
    before, chain = _before(plan)
    follows = plan.as_plan() if in_force else _wider(plan)
    _refuse_plan(plan, before, follows, chain, today)
    refuse_newer(after, plans_of(probe=probe, site=site, business=business, sensor=sensor), _newer)
    plan.save()
    note(
        "plan.set",
        by=by,
        subject=probe or site or business,
        site_id=_site_id(probe, site),
        reason=plan.reason,
        plan=plan.pk,
        scope=scope_words(plan),
        effective_from=plan.effective_from.isoformat(),
        before=before.told,
        after=follows.told,
    )
    return plan


@action("round.set")
def set_round(
    *,
    by: Person,
    limit: Limit,
    times: Sequence[time] = (),
    every_minutes: int | None = None,
    weekdays: int = ALL_WEEK,
    grace_minutes: int = 30,
    effective_from: date | None = None,
    in_force: bool = True,
    reason: str = "",
    after: int | None = None,
) -> Round:
    """When readings are taken against a limit from a day on; `in_force` False: no more rounds.

    Raises ValidationError with neither times nor minutes, for minutes where the hours of the site are not known, for a day
    that is over, and without a reason where rounds end.
    """
    site = Site.objects.select_for_update(no_key=True).get(pk=limit.site_id)
    today = _today([site])
    each = Round(
        recorded_by=by,
        limit=limit,
        times=[f"{at:%H:%M}" for at in sorted(set(times))],
        every_minutes=every_minutes,
        weekdays=weekdays,
        grace_minutes=grace_minutes,
        effective_from=effective_from or today,
        in_force=in_force,
        reason=as_reason(reason),
    )
    each.full_clean(exclude=["times"])
    before = rounds_in_force([limit], each.effective_from).get(limit.pk)
    _refuse_round(each, before, site, today)
    refuse_newer(after, Round.objects.filter(limit=limit), _newer)
    each.save()
    derive_rounds([site.pk], clock.now(), f"other rounds were set, entered by {by}")
    note(
        "round.set",
        by=by,
        subject=limit,
        site_id=site.pk,
        reason=each.reason,
        round=each.pk,
        effective_from=each.effective_from.isoformat(),
        before=before.usual if before else "no rounds",
        after=each.usual,
    )
    return each


@action("opening.set")
def set_opening(
    *,
    by: Person,
    site: Site,
    hours: Sequence[tuple[time, time] | None],
    effective_from: date | None = None,
    reason: str = "",
    after: int | None = None,
) -> Opening:
    """When a site opens and closes on each weekday, Monday first, from a day on; None: closed that day.

    Raises ValidationError for other than seven days, a site that would never open, a day that is over, and hours that hold
    then already.
    """
    today = _today([site])
    if len(hours) != 7 or not any(hours):
        raise ValidationError("Give the hours of at least one weekday. A site that closes for good is amended itself.")
    told = [day and [f"{at:%H:%M}" for at in day] for day in hours]
    opening = Opening(
        recorded_by=by, site=site, hours=told, effective_from=effective_from or today, reason=as_reason(reason)
    )
    opening.full_clean(exclude=["hours"])
    _refuse_over(opening.effective_from, today, "effective_from")
    before = opening_in_force(site, opening.effective_from)
    if before and before.hours == told:
        raise ValidationError("These hours hold at that time already. Change one, or leave them as they are.")
    refuse_newer(after, Opening.objects.filter(site=site), _newer)
    opening.save()
    note(
        "opening.set",
        by=by,
        subject=site,
        site_id=site.pk,
        reason=opening.reason,
        before=before and before.hours,
        after=told,
        effective_from=opening.effective_from.isoformat(),
    )
    return opening


@action("closure.add")
def close_days(
    *,
    by: Person,
    first_day: date,
    last_day: date,
    why: str,
    site: Site | None = None,
    area: Area | None = None,
    business: Business | None = None,
) -> Closure:
    """A site, all sites of an area or of a business do not work on these days, both included.

    Raises ValidationError without a reason, for days in the wrong order or that are over, for more than a year, and where
    they are closed on these days already.
    """
    sites = _sites_of(site=site, area=area, business=business)
    today = _today(sites)
    why = as_reason(
        why, "why", ask="Say why it is closed, such as “school holidays”. The record says it too.", usual="closure"
    )
    if last_day < first_day:
        raise ValidationError({"last_day": "The last day comes before the first. Give a later one."})
    in_bounds(last_day, "last_day")
    if last_day - first_day > 366 * DAY:
        raise ValidationError({"last_day": "That is more than a year. A site that closes for good is amended itself."})
    _refuse_over(first_day, today, "first_day")
    _refuse_again(first_day, last_day, site=site, area=area, business=business)
    closure = Closure(
        recorded_by=by, site=site, area=area, business=business, first_day=first_day, last_day=last_day, why=why
    )
    closure.full_clean()
    closure.save()
    note(
        "closure.add",
        by=by,
        subject=site or area or business,
        site_id=site and site.pk,
        reason=closure.why,
        closure=closure.pk,
        first_day=first_day.isoformat(),
        last_day=last_day.isoformat(),
    )
    return closure


@action("closure.void")
def void_closure(*, by: Person, closure: Closure, reason: str, last_day: date | None = None) -> ClosureVoid:
    """These days are worked after all: all of them or, of a closure that has begun, those from today on.

    With `last_day` it still lasts until that day. Raises ValidationError without a reason, where it is struck out or over
    already, and for a last day that makes it no shorter or comes before yesterday.
    """
    sites = _sites_of(site=closure.site, area=closure.area, business=closure.business)
    today = _today(sites)
    reason = as_reason(reason, ask="Say why these days are worked after all.", usual="closure_void")
    if ClosureVoid.objects.filter(voids=closure).exists():
        raise ValidationError("This closure is struck out already.")
    _refuse_over(closure.last_day, today, "")
    rest = _rest(closure, last_day, today, by)
    void = ClosureVoid.objects.create(recorded_by=by, voids=closure, reason=reason, replacement=rest)
    note(
        "closure.void",
        by=by,
        subject=closure.site or closure.area or closure.business,
        site_id=closure.site_id,
        reason=void.reason,
        closure=closure.pk,
        lasts_until=rest and rest.last_day.isoformat(),
    )
    return void


def _rest(closure: Closure, last_day: date | None, today: date, by: Person) -> Closure | None:
    """What stays of a closure: the days that are over, or those until the last day that is given."""
    if last_day is None:
        last_day = today - DAY
    elif last_day >= closure.last_day:
        raise ValidationError({"last_day": "It ends no later than that already. Give an earlier day, or none."})
    elif last_day < today - DAY:
        raise ValidationError({"last_day": OVER})
    if last_day < closure.first_day:
        return None
    return Closure.objects.create(
        recorded_by=by,
        business=closure.business,
        area=closure.area,
        site=closure.site,
        first_day=closure.first_day,
        last_day=last_day,
        why=closure.why,
    )


def _newer(fact: CheckPlan | Round | Opening) -> str:
    what = (
        "other hours"
        if isinstance(fact, Opening)
        else fact.as_plan().usual
        if fact.in_force
        else "no such plan any more"
    )
    return entered(fact, f"{what}, from {day_words(fact.effective_from)}")


def _refuse_again(first_day: date, last_day: date, **scope) -> None:
    """Whoever writes holds the sites, so that of the same sent twice at once the second is told."""
    live = Closure.objects.live().filter(first_day=first_day, last_day=last_day, **scope)
    if known := live.select_related("recorded_by").first():
        days, who = span_words(first_day, last_day), known.recorded_by
        raise ValidationError(
            f"{closure_scope(known)} is closed on those days already ({days}): {who} has entered “{known.why}”. Nothing was "
            "changed. Strike that closure out first to give another reason.",
            code="again",
        )


def _sites_of(*, probe=None, site=None, area=None, business=None) -> list[Site]:
    """The sites that a scope reaches. Raises ValidationError where not exactly one is named."""
    if sum(each is not None for each in (probe, site, area, business)) != 1:
        raise ValidationError("Name one of a probe, a site, an area and a business.")
    if probe or site:
        return [site or probe.site]
    return list(Site.objects.filter(**({"area": area} if area else {"area__business": business})))


def _today(sites: Iterable[Site]) -> date:
    return earliest_day((site.zone for site in sites), clock.now())


def _site_id(probe: Probe | None, site: Site | None) -> int | None:
    return probe.site_id if probe else site and site.pk


def _check_plan(plan: CheckPlan) -> None:
    if plan.probe_id and plan.sensor:
        raise ValidationError({"sensor": "A plan of one probe has no kind."})
    in_bounds(plan.effective_from, "effective_from")
    # Whether there is what it names, and of one scope alone, the database sees to.
    plan.full_clean(exclude=["recorded_by", "probe", "site", "business"], validate_constraints=False)
    if plan.pattern == ON_WEEKDAYS and not plan.weekdays:
        raise ValidationError({"weekdays": "Choose at least one weekday."})


def _before(plan: CheckPlan) -> tuple[Plan, list[CheckPlan]]:
    """What counted on that day for the scope, and all that was set for it."""
    if plan.probe_id:
        book = PlanBook.of_probes([plan.probe])
        return book.at(Reach.of(plan.probe), plan.effective_from).plan, book.set_for(("probe", plan.probe_id, ""))
    found = plan_of_scope(site=plan.site, business=plan.business, sensor=plan.sensor, day=plan.effective_from)
    chain = CheckPlan.objects.filter(site=plan.site, business=plan.business, probe=None, sensor=plan.sensor)
    return found.plan, list(chain.order_by("-effective_from", "-pk"))


def _wider(plan: CheckPlan) -> Plan:
    """What counts once a plan is off: the one of the next wider scope."""
    reach = (
        Reach.of(plan.probe)
        if plan.probe_id
        else Reach(plan.site.area.business_id if plan.site_id else plan.business_id, plan.site_id, plan.sensor)
    )
    sites = CheckPlan.objects.filter(site=reach.site_id) if reach.site_id else CheckPlan.objects.none()
    book = PlanBook(sites | CheckPlan.objects.filter(business=reach.business_id))
    return book.wider(reach, plan.effective_from).plan


def _refuse_plan(plan: CheckPlan, before: Plan, after: Plan, chain: list[CheckPlan], today: date) -> None:
    counting = next((each for each in chain if each.effective_from <= plan.effective_from), None)
    off = counting is None or not counting.in_force
    if not plan.in_force and off:
        raise ValidationError("Nothing is set here that could be taken off; the wider plan counts already.")
    if plan.in_force and not off and _same(before, after):
        raise ValidationError(
            "Nothing is different from what holds at that time. Change a figure, or leave it as it is."
        )
    if plan.effective_from < today and (chain or not plan.reason):
        raise ValidationError({"effective_from": OVER})
    if after.interval > before.interval and not plan.reason:
        words = f"This is less often than before ({before.usual}). Say why, and who agreed."
        raise ValidationError({"reason": words})


def _same(one: Plan, other: Plan) -> bool:
    return one.told == other.told and one.grace_minutes == other.grace_minutes


def _refuse_round(each: Round, before: Round | None, site: Site, today: date) -> None:
    _refuse_over(each.effective_from, today, "effective_from")
    if not each.in_force:
        if before is None:
            raise ValidationError("There are no rounds for this limit at that time anyway.")
        if not each.reason:
            raise ValidationError({"reason": "Say why no more readings are asked for."})
        return
    if not each.times and not each.every_minutes:
        raise ValidationError({"times": "Give times of day such as 08:00, or how often while open."})
    if each.every_minutes and opening_in_force(site, each.effective_from) is None:
        raise ValidationError({"every_minutes": f"Say first when {site} opens and closes."})
    if before and replace(before.as_plan(), key=0) == each.as_plan():
        raise ValidationError("Nothing is different from what holds at that time. Change it, or leave it as it is.")


def _refuse_over(day: date, today: date, name: str) -> None:
    in_bounds(day, name)
    if day < today:
        raise ValidationError({name: OVER} if name else OVER)
