"""When the site worked, why it did not, and which plans of checks were set: why something fell due, or nothing did."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from itertools import groupby, zip_longest

from django.db.models import Q, QuerySet

from compliance.checks.queries import event_entered_late, move_entered_late
from compliance.plans.models import CheckPlan, Closure, Opening
from compliance.plans.queries import holidays_of, opening_in_force, scope_words
from compliance.plans.wording import closure_scope, span_words, week_in_short
from compliance.probes.models import OUT_OF_USE, Event, EventKind
from shared.dated import known_at
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import day_words, moment
from sites.models import Site, SiteSettings

from ..formatting import entered_beside, sentence, struck_by
from ..probes import ProbeHere
from ..scope import RecordScope, midnight, once
from ..statements import asked
from ..used_here import Away, with_what_contradicts

HOURS = [Column("From", points=58), Column("Hours", share=1), Column("By", points=24)]
CLOSED = [Column("Days", points=130), Column("Why", share=1), Column("Where", share=1), Column("By", points=24)]
PLANS = [
    Column("From", points=58),
    Column("For", share=1),
    Column("Checks at zero", share=1),
    Column("By", points=24),
]
AWAY = [
    Column("Probe", points=58),
    Column("From", points=72),
    Column("Until", points=72),
    Column("Why nothing fell due", share=1),
    Column("By", points=24),
]
HOLIDAY = "public holiday"
CLOSED_FOR_GOOD = "closed for good, until it opens again"
EXPLAINED = (
    "Nothing falls due on a day on which the site is closed; it moves to the next open day. A drop, a doubt, an adjustment, a "
    "new battery or an inconclusive check makes a check due at once, on any day. Nothing falls due for a probe that is at "
    "another site or withdrawn from use, but the check that one put aside waits for; one that returns, or comes overdue, is due "
    "from that moment on. Where the hours of a day run past midnight, a check made before they end counts for that day."
)


def write(writer: Writer, scope: RecordScope) -> None:
    writer.heading("Days of work and plans of checks")
    writer.table(HOURS, _hours(scope), caption="Hours of work", dense=True)
    empty = "No closure was entered, and no public holiday fell in the period."
    writer.listing(CLOSED, _closed(scope), caption="Closed", empty=empty)
    writer.listing(PLANS, plans_set(scope), caption="Plans set", empty="No plan of checks began in the period.")
    empty = (
        "No probe of this site was withdrawn or elsewhere in the period."
        if scope.probes
        else "No probe was here in the period."
    )
    away = (line.told(scope) for line in away_from_here(scope))
    writer.listing(AWAY, away, caption="Probes not in use here", empty=empty)


def _hours(scope: RecordScope) -> Iterator[Row]:
    first, *later = hours_set(scope)
    yield _week(first, first and first.effective_from, scope)
    yield from (_week(each, each.effective_from, scope) for each in later)


@once
def hours_set(scope: RecordScope) -> list[Opening | None]:
    """Those in force when the period began, None where nothing was said, and each that began in it."""
    return [opening_in_force(scope.site, scope.first), *_hours_begun(scope)]


@asked
def _hours_begun(scope: RecordScope) -> QuerySet[Opening]:
    begun = Opening.objects.filter(
        site=scope.site, effective_from__gt=scope.first, effective_from__lte=scope.last, recorded_at__lte=scope.now
    )
    return begun.order_by("effective_from", "pk")


def _week(opening: Opening | None, since: date | None, scope: RecordScope) -> Row:
    hours = "; ".join(f"{days} {told}" for days, told in week_in_short(opening))
    by = scope.people.initials_of(opening) if opening else ""
    return Row(
        (day_words(since) if since else "the start", hours, by), note=_entered(opening, scope) if opening else ""
    )


def _entered(fact: Opening | CheckPlan, scope: RecordScope) -> str:
    return f"Entered {moment(fact.recorded_at, scope.zone)}{': ' + sentence(fact.reason) if fact.reason else '.'}"


def _closed(scope: RecordScope) -> Iterator[Row]:
    rows = [(each.first_day, _closure(each, scope)) for each in closures(scope)]
    for first, last, why, what in closed_days(scope):
        rows.append((first, Row((span_words(first, last), why, what, ""))))
    yield from (row for _, row in sorted(rows, key=lambda each: each[0]))


def closed_days(scope: RecordScope) -> Iterator[tuple[date, date, str, str]]:
    """The first and the last, why, and what it is, of those that no closure was entered for."""
    then = _known(scope)
    yield from ((on, on, name, HOLIDAY) for on, name in _holidays(then))
    yield from ((first, last, CLOSED_FOR_GOOD, str(scope.site)) for first, last in _shut(then))


@once
def _known(scope: RecordScope) -> dict[date, SiteSettings | Site]:
    """What was set for the site when each day of the period began, whatever was set or corrected later."""
    facts = list(scope.site.settings_facts.order_by("pk"))
    return {on: known_at(facts, midnight(on, scope.zone)) or scope.site for on in _days(scope)}


def _holidays(then: dict[date, SiteSettings | Site]) -> Iterator[tuple[date, str]]:
    for on, told in then.items():
        if name := holidays_of(told).get(on):
            yield on, name


def _shut(then: dict[date, SiteSettings | Site]) -> Iterator[tuple[date, date]]:
    """The first and the last day of each time for which the site was closed for good."""
    for shut, days in groupby(then, key=lambda on: then[on].closed):
        if shut:
            first, *more = days
            yield first, more[-1] if more else first


@once
def closures(scope: RecordScope) -> list[Closure]:
    """Struck out ones too, as they reached the record before it was printed; of each area on days on which it was there."""
    then, found = _known(scope), []
    for each in _of_business(scope):
        there = (on for on, told in then.items() if each.area_id in (None, told.area_id))
        if any(each.first_day <= on <= each.last_day for on in there):
            found.append(each)
    return found


@asked
def _of_business(scope: RecordScope) -> QuerySet[Closure]:
    """Of the site, of any area and of the business as a whole."""
    reaching = Q(site=scope.site) | Q(area__business=scope.business) | Q(business=scope.business)
    found = Closure.objects.filter(
        reaching, first_day__lte=scope.last, last_day__gte=scope.first, recorded_at__lte=scope.now
    )
    return found.select_related("site", "area", "business", "void").order_by("first_day", "pk")


def _closure(each: Closure, scope: RecordScope) -> Row:
    void = getattr(each, "void", None)
    note = f"Entered {moment(each.recorded_at, scope.zone)}."
    cells = (
        span_words(each.first_day, each.last_day),
        each.why,
        closure_scope(scope.named(each)),
        scope.people.initials_of(each),
    )
    return Row(cells, void=void is not None, note=f"{note} {struck_by(void, scope)}" if void else note)


def _days(scope: RecordScope) -> Iterator[date]:
    return (scope.first + timedelta(days=n) for n in range((scope.last - scope.first).days + 1))


def plans_set(scope: RecordScope) -> Iterator[Row]:
    for plan, who, told in plans_here(scope):
        cells = (day_words(plan.effective_from), who, told, scope.people.initials_of(plan))
        yield Row(cells, note=_entered(plan, scope))


def plans_here(scope: RecordScope) -> Iterator[tuple[CheckPlan, str, str]]:
    """Those that began in the period and reach the site or a probe that was here."""
    for plan in _plans_begun(scope):
        code = plan.probe and plan.probe.particulars_at(plan.recorded_at).code
        who = f"probe {code}: its own plan" if code else scope_words(scope.named(plan))
        yield plan, who, plan.as_plan().told if plan.in_force else "taken off; the wider plan counts"


@asked
def _plans_begun(scope: RecordScope) -> QuerySet[CheckPlan]:
    reaching = Q(site=scope.site) | Q(business=scope.business) | Q(probe__in=scope.probe_keys)
    found = CheckPlan.objects.filter(
        reaching, effective_from__gte=scope.first, effective_from__lte=scope.last, recorded_at__lte=scope.now
    )
    return found.select_related("site", "business", "probe").order_by("effective_from", "pk")


@once
def away_from_here(scope: RecordScope) -> list[Away]:
    """When probes that were here in the period were withdrawn, or at another site."""
    ordered = groupby(_turns(scope), key=lambda event: event.probe_id)
    by_probe = {pk: list(group) for pk, group in ordered}
    lines = [
        line
        for here in scope.probes
        for line in (*_withdrawn(here, by_probe.get(here.probe.pk, []), scope), *_elsewhere(here, scope))
    ]
    return with_what_contradicts(scope, lines)


@asked
def _turns(scope: RecordScope) -> QuerySet[Event]:
    turns = Event.objects.live().filter(
        probe__in=scope.probe_keys,
        kind__in=[*OUT_OF_USE, EventKind.RETURNED],
        at__lt=scope.end,
        recorded_at__lte=scope.now,
    )
    return turns.order_by("probe", "at", "pk")


def _elsewhere(here: ProbeHere, scope: RecordScope) -> Iterator[Away]:
    for stay in here.stays:
        if stay.site_id != scope.site.pk:
            why = f"At {stay.site}" + (f": {sentence(stay.reason)}" if stay.reason else ".")
            span = moment(stay.start, scope.zone), _until(stay.end, scope)
            late = entered_beside(stay.move, stay.start, scope, late=True) if move_entered_late(stay.move) else ""
            row = Row((here.probe.code, *span, why, scope.people.initials_of(stay.move)), note=late)
            yield Away(here.probe, stay.start, stay.end, row, stay.move, checks=True)


def _withdrawn(here: ProbeHere, turns: list[Event], scope: RecordScope) -> Iterator[Away]:
    for turn, following in zip_longest(turns, turns[1:]):
        back = following and following.at
        if turn.kind in OUT_OF_USE and (back is None or back > scope.start):
            words = "Gone: dead, lost or thrown away" if turn.kind == EventKind.GONE else "Withdrawn from use"
            why = words + (f": {sentence(turn.note)}" if turn.note else ".")
            span, who = (moment(turn.at, scope.zone), _until(back, scope)), scope.people.initials_of(turn)
            late = entered_beside(turn, turn.at, scope, late=event_entered_late(turn))
            yield Away(
                here.probe, turn.at, back, Row((here.probe.code, *span, why, who), note=late), turn, checks=False
            )


def _until(at: datetime | None, scope: RecordScope) -> str:
    return moment(at, scope.zone) if at else "not yet back"
