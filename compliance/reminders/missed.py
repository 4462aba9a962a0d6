"""Reminders nobody did in time, over many sites. Every query starts from the index of site and due time.

Their status is asked of each of those alone: as a condition NOT EXISTS, PostgreSQL joins them to all checks and readings
there are.
"""

from collections.abc import Iterable
from datetime import datetime

from django.db.models import Count, Q, QuerySet

from compliance.plans.calendar import DAY
from shared.key_lists import among

from .models import Reminder
from .status import Status, with_status

MISSED_DAYS = 28
LONGEST_GRACE = 7 * DAY
CHECKS, ROUNDS = Q(probe__isnull=False), Q(limit__isnull=False)


def missed(site_ids: Iterable[int], now: datetime) -> QuerySet[Reminder]:
    """Reminders that fell due at these sites in the last 28 days and were missed: over, and neither done nor excused."""
    due = Reminder.objects.filter(site__in=among(site_ids), due_at__gte=now - MISSED_DAYS * DAY, closes_at__lte=now)
    return with_status(due.filter(due_at__lt=now), now).filter(status=Status.MISSED)


def not_in_time(site_ids: Iterable[int], start: datetime, end: datetime, now: datetime) -> QuerySet[Reminder]:
    """Reminders whose grace ended from `start` up to `end`, and that are neither done nor excused. Some can be done still."""
    due = Reminder.objects.filter(site__in=among(site_ids), due_at__gte=start - LONGEST_GRACE, due_at__lt=end)
    late = with_status(due.filter(grace_at__gte=start, grace_at__lt=end), now)
    return late.filter(status__in=[Status.MISSED, Status.OVERDUE])


def missed_by_site(site_ids: Iterable[int], now: datetime) -> dict[int, tuple[int, int]]:
    """How many checks and how many rounds of readings were missed, by the key of the site. One query."""
    counts = (
        missed(site_ids, now)
        .order_by()
        .values("site")
        .annotate(checks=Count("pk", filter=CHECKS), rounds=Count("pk", filter=ROUNDS))
    )
    return {row["site"]: (row["checks"], row["rounds"]) for row in counts}
