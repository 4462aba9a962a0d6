"""What is written about plans: when checks and readings are due, and when a site works."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, time

from django.core.exceptions import ValidationError

from compliance.limits.models import Limit
from shared import clock
from shared.audit.trail import action, note
from shared.bounds import in_bounds
from shared.reasons import as_reason
from shared.stale_forms import entered, refuse_newer
from sites.models import Person, Site

from .calendar import DAY, earliest_day
from .data import ClosureData, PlanData, RoundData
from .models import CheckPlan, Closure, ClosureVoid, Opening, Round
from .queries import PlanBook, Reach, opening_in_force, rounds_in_force, scope_words, sites_reached
from .round_rows import derive_rounds
from .schedule import ON_WEEKDAYS, Plan
from .wording import closure_scope, day_words, span_words

OVER = "Days that are over stay as they were. Begin today or later; what was missed is excused one by one."


@action("plan.set")
def set_plan(*, by: Person, data: PlanData, book: PlanBook | None = None) -> CheckPlan:
    """When the probes that it names are checked. `book`: the plans of that scope, where they are read already; it is added.

    Raises ValidationError where nothing would change, where checks would be made less often and no reason is given, for a day
    that is over, where somebody has set another one since, and for figures out of range.
    """
    today = _today(sites_reached(probe=data.probe, site=data.site, business=data.business))
    plan = CheckPlan(
        recorded_by=by,
        in_force=data.in_force,
        effective_from=data.effective_from or today,
        reason=as_reason(data.reason),
        **data.scope,
        **data.figures,
    )
    _check_plan(plan)
    book, reach = book or PlanBook.of_scope(**data.scope), Reach.of_scope(**data.scope)
    before = book.at(reach, plan.effective_from).plan
    follows = plan.as_plan() if plan.in_force else book.wider(reach, plan.effective_from).plan
    _refuse_plan(plan, before, follows, book.set_for(reach), today)
    refuse_newer(data.after, book.newest(reach), _newer)
    plan.save()
    book.add(plan)
    note(
        "plan.set",
        by=by,
        subject=plan.probe or plan.site or plan.business,
        site_id=plan.probe.site_id if plan.probe else plan.site_id,
        reason=plan.reason,
        plan=plan.pk,
        scope=scope_words(plan),
        effective_from=plan.effective_from.isoformat(),
        before=before.told,
        after=follows.told,
    )
    return plan


@action("round.set")
def set_round(*, by: Person, limit: Limit, data: RoundData) -> Round:
    """When readings are taken against a limit.

    Raises ValidationError with neither times nor minutes, for minutes where the hours of the site are not known, for a day
    that is over, and without a reason where rounds end.
    """
    site = Site.objects.select_for_update(no_key=True).get(pk=limit.site_id)
    today = _today([site])
    each = Round(
        recorded_by=by,
        limit=limit,
        times=[f"{at:%H:%M}" for at in sorted(set(data.times))],
        every_minutes=data.every_minutes,
        weekdays=data.weekdays,
        grace_minutes=data.grace_minutes,
        effective_from=data.effective_from or today,
        in_force=data.in_force,
        reason=as_reason(data.reason),
    )
    each.full_clean(exclude=["times"])
    before = rounds_in_force([limit], each.effective_from).get(limit.pk)
    _refuse_round(each, before, site, today)
    refuse_newer(data.after, limit.rounds.all(), _newer)
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
    refuse_newer(after, site.openings.all(), _newer)
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
def close_days(*, by: Person, data: ClosureData) -> Closure:
    """These days are not worked.

    Raises ValidationError without a reason, for days in the wrong order or that are over, for more than a year, and where
    they are closed on these days already.
    """
    today = _today(sites_reached(**data.scope))
    why = as_reason(
        data.why, "why", ask="Say why it is closed, such as “school holidays”. The record says it too.", usual="closure"
    )
    if data.last_day < data.first_day:
        raise ValidationError({"last_day": "The last day comes before the first. Give a later one."})
    in_bounds(data.last_day, "last_day")
    if data.last_day - data.first_day > 366 * DAY:
        raise ValidationError({"last_day": "That is more than a year. A site that closes for good is amended itself."})
    _refuse_over(data.first_day, today, "first_day")
    _refuse_again(data)
    closure = Closure(recorded_by=by, first_day=data.first_day, last_day=data.last_day, why=why, **data.scope)
    closure.full_clean()
    closure.save()
    note(
        "closure.add",
        by=by,
        subject=data.site or data.area or data.business,
        site_id=closure.site_id,
        reason=closure.why,
        closure=closure.pk,
        first_day=closure.first_day.isoformat(),
        last_day=closure.last_day.isoformat(),
    )
    return closure


@action("closure.void")
def void_closure(*, by: Person, closure: Closure, reason: str, last_day: date | None = None) -> ClosureVoid:
    """These days are worked after all: all of them or, of a closure that has begun, those from today on.

    With `last_day` it still lasts until that day. Raises ValidationError without a reason, where it is struck out or over
    already, and for a last day that makes it no shorter or comes before yesterday.
    """
    today = _today(sites_reached(site=closure.site, area=closure.area, business=closure.business))
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


def _refuse_again(data: ClosureData) -> None:
    """Whoever writes holds the sites, so that of the same sent twice at once the second is told."""
    live = Closure.objects.live().filter(first_day=data.first_day, last_day=data.last_day, **data.scope)
    if known := live.select_related("recorded_by").first():
        days, who = span_words(known.first_day, known.last_day), known.recorded_by
        raise ValidationError(
            f"{closure_scope(known)} is closed on those days already ({days}): {who} has entered “{known.why}”. Nothing was "
            "changed. Strike that closure out first to give another reason.",
            code="again",
        )


def _today(sites: Iterable[Site]) -> date:
    return earliest_day((site.zone for site in sites), clock.now())


def _check_plan(plan: CheckPlan) -> None:
    if plan.probe_id and plan.sensor:
        raise ValidationError({"sensor": "A plan of one probe has no kind."})
    in_bounds(plan.effective_from, "effective_from")
    # Whether there is what it names, and of one scope alone, the database sees to.
    plan.full_clean(exclude=["recorded_by", "probe", "site", "business"], validate_constraints=False)
    if plan.pattern == ON_WEEKDAYS and not plan.weekdays:
        raise ValidationError({"weekdays": "Choose at least one weekday."})


def _refuse_plan(plan: CheckPlan, before: Plan, after: Plan, chain: list[CheckPlan], today: date) -> None:
    counting = next((each for each in chain if each.effective_from <= plan.effective_from), None)
    off = counting is None or not counting.in_force
    if not plan.in_force and off:
        raise ValidationError("Nothing is set here that could be taken off; the wider plan counts already.")
    if plan.in_force and not off and _same(before, after):
        raise ValidationError(
            "Nothing is different from what holds at that time. Change a figure, or leave it as it is."
        )
    _refuse_over(plan.effective_from, today, "effective_from")
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
