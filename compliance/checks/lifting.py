"""What was asked for and is asked for no longer before it was done or missed: lifted, with the reason that the record prints."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from functools import reduce
from operator import or_

from django.db.models import Case, Q, QuerySet, When

from compliance.metrology.vocabulary import Verdict
from compliance.plans.calendar import DAY
from compliance.plans.demands import AT_ONCE, CheckDemand, Checked, Happened, absences, moment
from compliance.plans.models import Reminder
from compliance.plans.queries import calendars
from compliance.plans.schedule import TICK
from compliance.plans.slots import KEPT
from compliance.plans.wording import day_words
from compliance.probes.models import Event, Probe

from .fallen import due_after, move_ends, write_down
from .falling_due import since_here
from .models import END, ProbeState
from .stays import Stay

WITHDRAWN = "withdrawn from use on"
RECKONED = "it follows from another check than was known when it fell due"
STRUCK = "what asked for it was struck out or corrected"
CHANGED = "the days of work or the clock of the site were changed"
LATE = "{}; entered after it had fallen due"
LIFTED = ["cancelled_at", "cancelled_because"]
Away = tuple[Happened, datetime | None]


def follow_up(
    probe: Probe,
    before: ProbeState | None,
    state: ProbeState,
    reasons: Iterable[CheckDemand],
    stays: list[Stay],
    checks: list[Checked],
    events: list[Happened],
    now: datetime,
    struck: datetime | None = None,
) -> None:
    """After the state of a probe was kept anew: what it asks for now is written down, and what it asks for no longer lifted.

    So is what was missed of a time at which it was withdrawn or elsewhere, and what a check or an event of the moment
    `struck` asked for, whenever that is entered. `reasons` are all that ask for a check at once. Where nothing is due and
    nothing was left open, one query.
    """
    mine, anew = Reminder.objects.filter(probe=probe), _counts_anew(before, state)
    besides = _besides(probe, state, reasons, stays)
    if besides:
        _write_down_each(probe, state, besides, now)
    if state.due_at and state.due_at <= now:
        move_ends(now, probe_id=probe.pk)
        write_down(now, probe_id=probe.pk, anew=True, all_of_it=anew)
        lifted = mine.filter(since_at=state.due_at, cancelled_at__isnull=False)
        lifted.exclude(cancelled_because=RECKONED).update(cancelled_at=None, cancelled_because="")
    away = absences(events)
    _ask_again(mine, probe, state, away, anew, now)
    over = Q(closes_at__gt=now) | _while_away(away) | _elsewhere(stays) | _asked_by(struck)
    counted = _counted_otherwise(probe, before, state, stays, now) if anew else NONE
    over_or_not, counted_or_not = (Case(When(each, then=True), default=False) for each in (over, counted))
    rows = mine.filter(over | counted, cancelled_at__isnull=True).annotate(over=over_or_not, counted=counted_or_not)
    left = [row for row in rows if row.due_at not in besides and not any(answers(check, row) for check in checks)]
    to_come = [row.pk for row in left if row.due_at > now]  # done before its hour, by a check that counts no longer
    if to_come:
        Reminder.objects.filter(pk__in=to_come).delete()
    left = [row for row in left if row.due_at <= now]
    asked = {state.due_at, *due_after(state, probe.site_id, now)} if any(row.counted for row in left) else set()
    for row in left:
        row.over = row.over and row.since_at != state.due_at
        row.counted = row.counted and row.due_at not in asked
    left = [row for row in left if row.over or row.counted]
    for row in left:
        row.cancelled_at, row.cancelled_because = _why(row, probe, away, stays, now) if row.over else (now, RECKONED)
    Reminder.objects.bulk_update(left, LIFTED)


def _ask_again(
    mine: QuerySet[Reminder], probe: Probe, state: ProbeState, away: list[Away], counts_anew: bool, now: datetime
) -> None:
    """What was due after a return that is entered late, or by the days that count by now, and was not done was missed.

    So is what a former plan had asked for after that return. No query where nothing is due, nor for a probe that never
    returned and whose days are counted as before.
    """
    back = max((back for _, back in away if back), default=None)
    if not (back or counts_anew) or probe.withdrawn or (state.due_at or END) > now:
        return
    because = Q(cancelled_because__startswith=WITHDRAWN, due_at__gte=back) if back else NONE
    because |= Q(cancelled_because=RECKONED) if state.one_plan else NONE
    lifted = mine.filter(because, site=probe.site_id, closes_at__lte=now)
    if lifted:
        following = due_after(state, probe.site_id, now)
        asked = Q(due_at__in={state.due_at, *following})
        asked |= NONE if state.one_plan else Q(due_at__lt=min(following, default=now))
        lifted.filter(asked).update(since_at=state.due_at, cancelled_at=None, cancelled_because="")


def _counted_otherwise(probe: Probe, before: ProbeState, state: ProbeState, stays: list[Stay], now: datetime) -> Q:
    """What was asked for by days counted from another check or event than the one that counts by now.

    Nothing that another plan may have asked for since, nor of days whose due times are kept no longer.
    """
    since = max(state.settled_at or _counted_from(before), now - DAY * (KEPT - 2), *(stay.start for stay in stays[1:]))
    due = Q(due_at__gt=since) if state.one_plan else Q(due_at__gt=since, due_at__lt=state.due_at)
    return due & Q(site=probe.site_id)


def _counts_anew(before: ProbeState | None, state: ProbeState) -> bool:
    """Whether something is due both before and now, by days that are counted from different moments."""
    counts, counted = _counted_from(state), _counted_from(before)
    return bool(counted and counts and before.due_at and state.due_at and counted != counts)


def _counted_from(state: ProbeState | None) -> datetime | None:
    """When the last check at zero settled it, or it returned; a state that was kept before that was kept tells what it can."""
    return state and (state.settled_at or state.anchor_at or state.at_once_at)


def _besides(
    probe: Probe, state: ProbeState, reasons: Iterable[CheckDemand], stays: list[Stay]
) -> dict[datetime, CheckDemand]:
    """What asks at once besides what the check is due for, by its due time; of several at one moment the first.

    One may be due a tick after now, where a check was made this very minute; a sweep writes down only the first.
    """
    if state.due_at is None:
        return {}
    told = [since_here(each, probe, stays) for each in reasons]
    return {each.at: each for each in reversed(told) if state.due_at < each.at}


def _write_down_each(probe: Probe, state: ProbeState, besides: dict[datetime, CheckDemand], now: datetime) -> None:
    """A row of its own for each, so that an excuse covers what was asked for when it was given, and nothing that came after."""
    written = {row.due_at: row for row in Reminder.objects.filter(probe=probe, due_at__in=besides)}
    grace = timedelta(minutes=state.grace_minutes)
    Reminder.objects.bulk_create([
        Reminder(probe=probe, site_id=probe.site_id, since_at=at, opens_at=due.after, due_at=at, grace_at=at + grace,
                 closes_at=END, because=due.because, away=due.away)
        for at, due in besides.items() if at not in written
    ], ignore_conflicts=True)  # fmt: skip
    again = [row for row in written.values() if row.closes_at > now and row.since_at != state.due_at]
    for row in again:
        due = besides[row.due_at]
        row.since_at, row.opens_at, row.away = due.at, due.after, due.away
        row.cancelled_at, row.cancelled_because = None, ""
    Reminder.objects.bulk_update(again, ["since_at", "opens_at", "away", *LIFTED])


NONE = Q(pk__in=[])


def _while_away(away: list[Away]) -> Q:
    """What was still open when the probe was withdrawn, and what was due until it returned."""
    return reduce(or_, (Q(closes_at__gt=gone.at) & Q(due_at__lt=back or END) for gone, back in away), NONE)


def _elsewhere(stays: list[Stay]) -> Q:
    """What was asked for at a site while the probe was not there, or was still open when it went."""
    if not stays:
        return NONE
    there = (Q(site=s.site.pk, due_at__gte=s.start, closes_at__lte=s.end or END) for s in stays[1:])
    return ~reduce(or_, there, Q(site=stays[0].site.pk, closes_at__lte=stays[0].end or END))


def _asked_by(struck: datetime | None) -> Q:
    """What a check or an event of this moment asked for: at it, or just after it."""
    if struck is None:
        return NONE
    reasons = reduce(or_, (Q(because__startswith=words) for words in AT_ONCE))
    return Q(due_at__range=(struck, struck + 3 * TICK)) & reasons


def answers(check: Checked, row: Reminder) -> bool:
    conclusive = check.verdict != Verdict.INCONCLUSIVE
    return conclusive and check.at_zero != row.away and moment(check) > row.opens_at and check.at <= row.closes_at


def _why(row: Reminder, probe: Probe, away: list[Away], stays: list[Stay], now: datetime) -> tuple[datetime, str]:
    zone = row.site.zone
    gone = next((g for g, back in away if row.closes_at > g.at and (back is None or row.due_at < back)), None)
    if gone:
        note = Event.objects.values_list("note", flat=True).get(pk=gone.order)
        return gone.at, _told(WITHDRAWN, gone.at, zone, note)
    if gone := _left(row, stays):
        return gone.start, _told(f"moved to {gone.site} on", gone.start, zone, gone.reason)
    return now, STRUCK


def _left(row: Reminder, stays: list[Stay]) -> Stay | None:
    """The move by which the probe was not where it was asked for, or was there no longer."""
    begun = [stay for stay in stays[1:] if stay.start <= row.due_at]
    where = [*stays[:1], *begun][-1:]
    if where and where[0].site.pk != row.site_id:
        return where[0]
    following = [stay for stay in stays if stay.start > row.due_at]
    return following[0] if following and row.closes_at > following[0].start else None


def _told(what: str, at: datetime, zone, why: str) -> str:
    told = f"{what} {day_words(at.astimezone(zone).date())}"
    return (f"{told}: {why.strip()}" if why.strip() else told)[:300]


def follow_moved(moved: Iterable[tuple[ProbeState, datetime | None]], probes: dict[int, Probe], now: datetime) -> None:
    """The same where plans or calendars moved due times: states, each with when it was due before. At most five queries.

    What asks at once besides goes on to ask, unless nothing is asked for there any more.
    """
    moved = {state.probe_id: (state, before) for state, before in moved if before != state.due_at}
    if moved:
        write_down(now, site_ids={probes[pk].site_id for pk in moved}, anew=True)
    rows = Reminder.objects.filter(probe__in=list(moved), closes_at__gt=now).order_by("pk") if moved else []
    works, changed = None, []
    for row in rows:
        state, before = moved[row.probe_id]
        if row.since_at == state.due_at and row.cancelled_at:
            row.cancelled_at, row.cancelled_because = None, ""
        elif not row.cancelled_at and _is_over(row, state, before):
            works = works or calendars({probe.site_id: probe.site for probe in probes.values()}.values())
            row.cancelled_at, row.cancelled_because = now, _why_moved(row, state, works.get(row.site_id))
        else:
            continue
        changed.append(row)
    Reminder.objects.bulk_update(changed, LIFTED, batch_size=500)


def _is_over(row: Reminder, state: ProbeState, before: datetime | None) -> bool:
    by_itself = row.since_at == row.due_at and state.at_once_at is not None and row.due_at >= state.at_once_at
    if state.due_at is None or not by_itself:
        return row.since_at == before or (by_itself and state.due_at is None)
    return row.due_at < state.due_at


def _why_moved(row: Reminder, state: ProbeState, calendar) -> str:
    if state.due_at is None:
        return state.due_because
    why = calendar.is_open(calendar.day_asked(row.due_at))[1] if calendar else ""
    return LATE.format(why) if why else CHANGED
