"""The rest of a day at a site beside what is to do now: what comes, what was missed the day before, what is done."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import DateTimeField, QuerySet
from django.urls import reverse

from compliance.plans.calendar import DAY, instant, local_day
from compliance.plans.queries import calendars
from compliance.reminders.models import Reminder
from compliance.reminders.queries import NOW, rounds_to_come
from compliance.reminders.status import Status, with_status
from compliance.reviews.days import lately
from compliance.reviews.wording import to_do_in_words
from shared.plurals import plural
from shared.prepared import Prepared, Slot
from shared.time_text import styled
from sites.models import Site

from .queries import end_of_today
from .todo import ToDo

BACK = 8  # days in which the last day of work is looked for


def _of_days(status: Status) -> QuerySet[Reminder]:
    days = {"due_at__gte": Slot("begins", DateTimeField()), "due_at__lt": Slot("ends", DateTimeField())}
    return with_status(Reminder.objects.filter(site=Slot("site"), **days), NOW).filter(status=status)


_MISSED = Prepared(
    lambda: _of_days(Status.MISSED).select_related("probe", "limit", "appliance").order_by("due_at", "pk")
)
_DONE = Prepared(lambda: _of_days(Status.CLEARED).order_by().values_list("limit"))


@dataclass(frozen=True, slots=True)
class DoneToday:
    checks: int
    readings: int

    @property
    def words(self) -> str:
        parts = [plural(n, noun) for n, noun in ((self.checks, "check"), (self.readings, "reading")) if n]
        return f"Done today: {' and '.join(parts)}." if parts else "Nothing was asked for today so far."


def coming(site: Site, found: list[ToDo], now: datetime) -> list[dict]:
    """What cannot be done yet and falls due before the next service, or today. One query."""
    checks = [(each.due_at, f"Check {each.probe.code}", each.because) for each in found if not each.now]
    ahead = rounds_to_come(site, now, opens_at__gte=now, due_at__lt=end_of_today(site, now))
    rounds = [(each.due_at, f"Reading: {each.what_then}", each.because) for each in ahead]
    return [
        {"title": what, "meta": " · ".join(filter(None, (f"due {styled(due_at, site.zone, 'short')}", because)))}
        for due_at, what, because in sorted(checks + rounds)
    ]


def missed_before(site: Site, now: datetime, excuses: bool) -> list[dict]:
    """What was missed on the last day of work before today, and nobody has excused. Two queries."""
    calendar, today = calendars([site])[site.pk], local_day(now, site.zone)
    day = next((today - DAY * n for n in range(1, BACK) if calendar.is_open(today - DAY * n)), today - DAY)
    begins, ends = (instant(each, datetime.min.time(), site.zone) for each in (day, today))
    rows = _MISSED.objects(site=site.pk, begins=begins, ends=ends, now=now)
    return [_missed(row, site, excuses) for row in rows]


def _missed(row: Reminder, site: Site, excuses: bool) -> dict:
    item = {
        "title": f"Check {row.probe.code}" if row.probe_id else f"Reading: {row.what_then}",
        "meta": f"Missed, was due {styled(row.due_at, site.zone, 'short')}",
        "badge_kind": "reminder",
        "badge_value": "missed",
        "tone": "bad",
    }
    if excuses:
        item |= {"action_label": "Excuse", "action_url": reverse("reminder_excuse", args=[row.pk])}
    return item


def to_review(site: Site, now: datetime) -> list[dict]:
    """The days of four weeks that a second person is to read, in one line. Five queries."""
    days = [each for each in lately(site, now) if each.asks]
    if not days:
        return []
    late = any(each.late for each in days)
    about = {"title": f"{plural(len(days), 'day')} to review", "meta": to_do_in_words(days)}
    return [about | {"url": reverse("review_list", args=[site.pk]), "tone": "bad" if late else "doubt"}]


def done_today(site: Site, now: datetime) -> DoneToday:
    """How much of what was asked for today is done. One query."""
    begins = instant(local_day(now, site.zone), datetime.min.time(), site.zone)
    rows = _DONE.rows(site=site.pk, begins=begins, ends=end_of_today(site, now), now=now)
    limits = [limit for (limit,) in rows]
    return DoneToday(limits.count(None), len(limits) - limits.count(None))
