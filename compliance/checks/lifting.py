"""What was asked for and is asked for no longer before it was done or missed: lifted, with the reason that the record prints."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db.models import Q

from compliance.metrology.vocabulary import Verdict
from compliance.plans.models import Reminder
from compliance.plans.queries import calendars
from compliance.plans.wording import day_words
from compliance.probes.models import Event, EventKind, Probe

from .due import Checked, Due, Happened, moment
from .fallen import move_ends, write_down
from .falling_due import since_here
from .models import END, ProbeState
from .stays import Stay

STRUCK = "what asked for it was struck out or corrected"
CHANGED = "the days of work or the clock of the site were changed"
LATE = "{}; entered after it had fallen due"
LIFTED = ["lifted_at", "lifted_because"]


def follow_up(
    probe: Probe,
    state: ProbeState,
    reasons: Iterable[Due],
    stays: list[Stay],
    checks: list[Checked],
    events: list[Happened],
    now: datetime,
) -> None:
    """After the state of a probe was kept anew: what it asks for now is written down, and what it asks for no longer lifted.

    `reasons` are all that ask for a check at once. Where nothing is due and nothing was left open, one query.
    """
    mine = Reminder.objects.filter(probe=probe)
    besides = _besides(probe, state, reasons, stays)
    if besides:
        _write_down_each(probe, state, besides, now)
    if state.due_at and state.due_at <= now:
        move_ends(now, probe_id=probe.pk)
        write_down(now, probe_id=probe.pk, anew=True)
        mine.filter(since_at=state.due_at, lifted_at__isnull=False).update(lifted_at=None, lifted_because="")
    away = _withdrawal(events) if probe.withdrawn else None
    reached = Q(closes_at__gt=now)
    if away:
        reached |= Q(closes_at__gt=away.at)
    if stays:
        reached |= Q(closes_at__gt=stays[-1].start) & ~Q(site=probe.site_id)
    rows = mine.filter(reached, lifted_at__isnull=True)
    left = [row for row in rows if row.due_at not in besides and not any(answers(check, row) for check in checks)]
    to_come = [row.pk for row in left if row.due_at > now]  # done before its hour, by a check that counts no longer
    if to_come:
        Reminder.objects.filter(pk__in=to_come).delete()
    left = [row for row in left if row.due_at <= now and row.since_at != state.due_at]
    for row in left:
        row.lifted_at, row.lifted_because = _why(row, probe, away, stays, now)
    Reminder.objects.bulk_update(left, LIFTED)


def _besides(probe: Probe, state: ProbeState, reasons: Iterable[Due], stays: list[Stay]) -> dict[datetime, Due]:
    """What asks at once besides what the check is due for, by its due time; of several at one moment the first.

    One may be due a tick after now, where a check was made this very minute; a sweep writes down only the first.
    """
    if state.due_at is None:
        return {}
    told = [since_here(each, probe, stays) for each in reasons]
    return {each.at: each for each in reversed(told) if state.due_at < each.at}


def _write_down_each(probe: Probe, state: ProbeState, besides: dict[datetime, Due], now: datetime) -> None:
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
        row.lifted_at, row.lifted_because = None, ""
    Reminder.objects.bulk_update(again, ["since_at", "opens_at", "away", *LIFTED])


def _withdrawal(events: list[Happened]) -> Happened:
    return max((e for e in events if e.kind == EventKind.WITHDRAWN), key=lambda e: (e.at, e.order))


def answers(check: Checked, row: Reminder) -> bool:
    conclusive = check.verdict != Verdict.INCONCLUSIVE
    return conclusive and check.at_zero != row.away and moment(check) > row.opens_at and check.at <= row.closes_at


def _why(row: Reminder, probe: Probe, away: Happened | None, stays: list, now: datetime) -> tuple[datetime, str]:
    zone = row.site.zone
    if away and row.closes_at > away.at:
        note = Event.objects.values_list("note", flat=True).get(pk=away.order)
        return away.at, _told("withdrawn from use on", away.at, zone, note)
    if row.site_id != probe.site_id:
        following = [stay for stay in stays if stay.start > row.due_at and stay.site.pk != row.site_id]
        gone = following[0] if following else stays[-1]
        return gone.start, _told(f"moved to {gone.site} on", gone.start, zone, gone.reason)
    return now, STRUCK


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
        if row.since_at == state.due_at and row.lifted_at:
            row.lifted_at, row.lifted_because = None, ""
        elif not row.lifted_at and _is_over(row, state, before):
            works = works or calendars({probe.site_id: probe.site for probe in probes.values()}.values())
            row.lifted_at, row.lifted_because = now, _why_moved(row, state, works.get(row.site_id))
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
