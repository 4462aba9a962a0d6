"""Readings of a round that nobody has taken past its grace: told as overdue checks are, while they can still be taken."""

from collections.abc import Iterable
from datetime import datetime

from django.urls import reverse

from compliance.reminders.models import Reminder
from compliance.reminders.queries import LONGEST
from compliance.reminders.status import OPEN, Status, with_status

from . import telling
from .gathering import Found, Item, Message, about, because, by_site, same_due, todo_url, untold
from .models import Mark
from .telling import Kind


def untaken(now: datetime) -> Found:
    """For the site managers, when the grace is over: one message a site and due time, one query for any number."""
    words = "The time allowed is over and no reading has been taken."
    return _late(Kind.READING, now, "{}: take the reading for {} now", "{}: take {} now", words)


def still_untaken(now: datetime) -> Found:
    """For the area supervisors, as long again after but in time for it to be taken yet."""
    words = "The time allowed is long over and still no reading has been taken."
    return _late(
        Kind.NO_READING, now, "{}: still no reading for {}, see to it", "{}: {} still not taken, see to it", words
    )


def _late(kind: Kind, now: datetime, one: str, many: str, lead: str) -> Found:
    found = Found()
    late = [reminder for reminder in _open_rounds(kind, now) if _ripe(kind, reminder) <= now]
    for reminders in by_site(late):
        first, due = reminders[0], same_due(reminders)
        words, what = (one, first.round.limit) if len(reminders) == 1 else (many, f"{len(reminders)} readings")
        found.messages.append(Message(
            kind, about(reminders), words.format(first.site, what), f"Due {due}. {lead}" if due else lead,
            [Item(f"Reading for {r.round.limit}", because(r, due), reading_url(r)) for r in reminders],
            reading_url(first) if len(reminders) == 1 else todo_url(first.site), site=first.site, due=due,
            reminders=[r.pk for r in reminders],
        ))  # fmt: skip
        found.marks += [Mark(kind=kind, number=r.pk, at=r.due_at) for r in reminders]
    return found


def _open_rounds(kind: Kind, now: datetime) -> list[Reminder]:
    """Grows with the rounds of the last days, not with history."""
    reminders = Reminder.objects.filter(
        untold(kind, "pk"), round__isnull=False, due_at__gt=now - LONGEST, grace_at__lte=now, closes_at__gt=now,
        site__closed=False,
    )  # fmt: skip
    related = ("site__area", "round__limit")
    return list(
        with_status(reminders, now).filter(status=Status.OVERDUE).select_related(*related).order_by("due_at", "pk")
    )


def _ripe(kind: Kind, reminder: Reminder) -> datetime:
    if kind == Kind.READING:
        return reminder.grace_at
    return telling.told_on_at(reminder.due_at, reminder.grace_at, reminder.closes_at)


def still_open(reminders: Iterable[int], now: datetime) -> set[int]:
    """Those of these reminders that can be and need be done yet."""
    asked = with_status(Reminder.objects.filter(pk__in=list(reminders)), now).filter(status__in=OPEN)
    return set(asked.order_by().values_list("pk", flat=True))


def reading_url(reminder: Reminder) -> str:
    """The form for a reading under that limit."""
    return f"{reverse('reading_add')}?site={reminder.site_id}&limit={reminder.round.limit_id}"
