"""Reminders nobody did in time, over many sites. Every query starts from the index of site and due time.

PostgreSQL puts them beside the checks and readings of that time as a whole, which is quicker by far than to look up what cleared
each; so it is told how few of all checks and readings that takes, in conditions that change nothing.
"""

from collections.abc import Iterable
from datetime import datetime

from django.db import connection
from django.db.models import Case, Count, Exists, F, OuterRef, Q, QuerySet, When

from compliance.plans.calendar import DAY
from compliance.plans.round_rows import LONGEST
from compliance.probes.models import Placement
from shared.key_lists import among

from .models import Reminder
from .status import EXCUSED, clearing_checks, clearing_readings, over_or_overdue

MISSED_DAYS = 28
LONGEST_GRACE = 7 * DAY
FEW_DAYS = 14 * DAY  # most checks are asked for no longer before they fall due
CHECKS, ROUNDS = Q(probe__isnull=False), Q(limit__isnull=False)


def missed(site_ids: Iterable[int], now: datetime) -> QuerySet[Reminder]:
    """Reminders that fell due at these sites in the last 28 days and were missed: over, and neither done nor excused."""
    since = now - MISSED_DAYS * DAY
    due = Reminder.objects.filter(site__in=among(site_ids), due_at__gte=since, due_at__lt=now)
    return _not_done(due.filter(over_or_overdue(now, overdue=False)), site_ids, since)


def not_in_time(site_ids: Iterable[int], start: datetime, end: datetime, now: datetime) -> QuerySet[Reminder]:
    """Reminders whose grace ended from `start` up to `end`, and that are neither done nor excused. Some can be done still."""
    since = start - LONGEST_GRACE
    due = Reminder.objects.filter(site__in=among(site_ids), due_at__gte=since, due_at__lt=end)
    late = due.filter(over_or_overdue(now, overdue=True), grace_at__gte=start, grace_at__lt=end)
    return _not_done(late, site_ids, since)


def missed_by_site(site_ids: Iterable[int], now: datetime) -> dict[int, tuple[int, int]]:
    """How many checks and how many rounds of readings were missed, by the key of the site. One query."""
    counts = (
        missed(site_ids, now)
        .order_by()
        .values("site")
        .annotate(checks=Count("pk", filter=CHECKS), rounds=Count("pk", filter=ROUNDS))
    )
    return {row["site"]: (row["checks"], row["rounds"]) for row in counts}


def _not_done(asked: QuerySet[Reminder], site_ids: Iterable[int], since: datetime) -> QuerySet[Reminder]:
    """Of what fell due at these sites since then and is late: neither done nor excused nor cancelled."""
    asked = asked.alias(excused=EXCUSED).filter(excused=False, cancelled_at=None)
    if connection.vendor != "postgresql":
        return asked.filter(~Exists(clearing_checks()), ~Exists(clearing_readings()))
    sites = among(site_ids)
    asked = asked.alias(of_itself=Case(When(appliance=None, then=F("limit"))))
    probes = Placement.objects.filter(site__in=sites).values("probe")
    checks = clearing_checks().filter(probe__in=probes, checked_at__gt=since - FEW_DAYS)
    readings = clearing_readings().filter(site__in=sites, taken_at__gt=since - LONGEST)
    return asked.filter(
        # Each by what is equal on both sides.
        ~Exists(checks),
        ~Exists(readings.filter(appliance=OuterRef("appliance"))),
        ~Exists(readings.filter(limit_version__limit=OuterRef("of_itself"))),
        # And one by one those that may have been done before.
        ~(CHECKS & Q(opens_at__lte=since - FEW_DAYS) & Exists(clearing_checks())),
        ~(ROUNDS & Q(opens_at__lte=since - LONGEST) & Exists(clearing_readings())),
    )
