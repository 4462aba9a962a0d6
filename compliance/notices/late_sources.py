"""What is overdue past its grace, checks and readings of rounds: to the site managers, and later to the area supervisors."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial

from django.db.models import F, Q, QuerySet
from django.urls import reverse

from compliance.checks.queries import to_be_checked
from compliance.reminders.missed import LONGEST_GRACE
from compliance.reminders.models import Reminder
from compliance.reminders.status import Status, with_status
from shared.plurals import noun
from shared.time_text import styled

from . import timing, wording
from .message_sources import Gathered, Item, Looked, Message, check_url, named, since_last, todo_url, untold
from .models import Notified, Watermark
from .recipients import Kind


@dataclass(frozen=True, slots=True)
class Words:
    """The subject, with the site and what is late, of one and of many; and the lead."""

    one: str
    many: str
    lead: str


NO_CHECK, NO_READING = "no check has been made.", "no reading has been taken."
WORDS = {
    Kind.OVERDUE: Words(*["{}: {} overdue, check now"] * 2, f"The time allowed is over and {NO_CHECK}"),
    Kind.UNANSWERED: Words(
        *["{}: {} still not checked, see to it"] * 2, f"The time allowed is long over and still {NO_CHECK}"
    ),
    Kind.READING: Words(
        "{}: take the reading for {} now", "{}: take {} now", f"The time allowed is over and {NO_READING}"
    ),
    Kind.NO_READING: Words(
        "{}: still no reading for {}, see to it",
        "{}: {} still not taken, see to it",
        f"The time allowed is long over and still {NO_READING}",
    ),
}


def _newly_late(kind: Kind, now: datetime, looked: Looked | None = None) -> Gathered:
    """What became late since this was looked at last. What was done by then is told of where that is undone: what undoes it puts
    off when it is late."""
    late = _still_late(became_late(since_last(kind, looked, now - LONGEST_GRACE), now), kind, now)
    told = Notified.objects.filter(kind=kind, number__in=[each.pk for each in late])
    told = {each.number: each for each in told}
    gathered = _late(kind, [each for each in late if each.pk not in told])
    gathered.watermark = Watermark(kind=kind, at=now)
    gathered.told_before = list(told.values())
    for each in late:
        if each.pk in told:  # the supervisors are told again, if it waits on
            told[each.pk].again_at = _escalated_at(each)
    return gathered


def became_late(since: datetime, now: datetime) -> QuerySet[Reminder]:
    """One range of one index: it grows with what became late since then, not with history nor with what lies ahead."""
    return Reminder.objects.filter(late_at__gt=since, late_at__lte=now)


def _passed_on(told: Kind, kind: Kind, now: datetime) -> Gathered:
    """Of what the site managers were told of, what waits for the area supervisors by now."""
    # Of all kinds, which are few: by its kind SQLite would go through all that was ever told of it.
    waiting = Notified.objects.filter(again_at__lte=now).values_list("kind", "number", "pk")
    numbers = {number: pk for kind_told, number, pk in waiting if kind_told == told}
    late = Reminder.objects.filter(untold(kind), pk__in=numbers)
    gathered = _late(kind, _still_late(late, told, now))
    gathered.passed_on = list(numbers.values())
    return gathered


overdue, untaken = partial(_newly_late, Kind.OVERDUE), partial(_newly_late, Kind.READING)
unanswered = partial(_passed_on, Kind.OVERDUE, Kind.UNANSWERED)
still_untaken = partial(_passed_on, Kind.READING, Kind.NO_READING)


def _late(kind: Kind, late: Sequence[Reminder]) -> Gathered:
    """One message a site with all that is told of it at one moment, whenever each fell due; of what was missed the last alone."""
    latest = {each.probe_id: each.pk for each in late if each.status == Status.MISSED}
    by_site = defaultdict(list)
    for each in late:
        if each.status != Status.MISSED or latest[each.probe_id] == each.pk:
            by_site[each.site_id].append(each)
    messages = [_message(kind, reminders) for reminders in by_site.values()]
    return Gathered(messages, [_notified(kind, each) for each in late])


def _notified(kind: Kind, reminder: Reminder) -> Notified:
    again_at = _escalated_at(reminder) if kind in (Kind.OVERDUE, Kind.READING) else None
    return Notified(kind=kind, number=reminder.pk, at=reminder.due_at, again_at=again_at)


def _escalated_at(reminder: Reminder) -> datetime:
    told_at = reminder.late_at or reminder.grace_at
    return timing.escalated_at(reminder.due_at, told_at, max(reminder.closes_at, told_at))


def _still_late(reminders: QuerySet[Reminder], told: Kind, now: datetime) -> list[Reminder]:
    """Those that can be done still. A check that is over as soon as its grace is, was missed then, without ever having been
    overdue."""
    wanted = Q(closes_at__gt=now, limit__isnull=False)
    if told == Kind.OVERDUE:
        can_be_done = Q(closes_at__gt=now) | Q(closes_at__lte=F("grace_at"))
        wanted = can_be_done & Q(probe__isnull=False) & to_be_checked("probe__")
    late = with_status(reminders.filter(wanted, site__closed=False), now)
    late = late.filter(status__in=[Status.DUE, Status.OVERDUE, Status.MISSED])
    of = ("probe__state",) if told == Kind.OVERDUE else ("limit", "appliance")
    return list(late.select_related("site__area", *of).order_by("due_at", "pk"))


def _message(kind: Kind, reminders: Sequence[Reminder]) -> Message:
    first, words, due = reminders[0], WORDS[kind], _same_due(reminders)
    single, checks = len(reminders) == 1, first.probe_id is not None
    return Message(
        kind,
        _about(reminders),
        (words.one if single else words.many).format(first.site, _what(reminders)),
        f"Due {due}. {words.lead}" if due else words.lead,
        [Item(_title(each), _because(each, due), _url(each)) for each in reminders],
        _url(first) if single else todo_url(first.site),
        site=first.site,
        due=due,
        probes=[[each.probe_id, each.due_at.isoformat()] for each in reminders] if checks else [],
        reminders=[] if checks else [each.pk for each in reminders],
    )


def _about(reminders: Sequence[Reminder]) -> str:
    """Of no other message: a reminder is told once."""
    first = min(reminders, key=lambda reminder: reminder.pk)
    return f"{first.site_id}:{first.due_at:%Y-%m-%dT%H:%M:%S}:{first.pk}"


def _what(reminders: Sequence[Reminder]) -> str:
    if reminders[0].probe_id is None:
        return reminders[0].what_then if len(reminders) == 1 else f"{len(reminders)} readings"
    codes = list(dict.fromkeys(reminder.probe.code for reminder in reminders))
    return f"{wording.probes(codes)} {noun(len(codes), 'is', 'are')}"


def _same_due(reminders: Sequence[Reminder]) -> str:
    """When they fell due, if all did at one moment; else empty, and each is to say so for itself."""
    dues = {reminder.due_at for reminder in reminders}
    return styled(dues.pop(), reminders[0].site.zone) if len(dues) == 1 else ""


def _because(reminder: Reminder, due: str) -> str:
    return reminder.because if due else f"{reminder.because}, due {styled(reminder.due_at, reminder.site.zone)}"


def _title(reminder: Reminder) -> str:
    return named(reminder.probe) if reminder.probe_id else f"Reading for {reminder.what_then}"


def _url(reminder: Reminder) -> str:
    """Where that very check is made, whatever else its probe is due for, or that very reading."""
    return check_url(reminder.probe_id, reminder.away) if reminder.probe_id else reading_url(reminder)


def reading_url(reminder: Reminder) -> str:
    """The form for a reading under that limit, of the appliance where it asks for one."""
    of = f"&appliance={reminder.appliance_id}" if reminder.appliance_id else ""
    return f"{reverse('reading_add')}?site={reminder.site_id}&limit={reminder.limit_id}{of}"
