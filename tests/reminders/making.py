"""Reminders with the least said."""

from datetime import UTC, datetime

from django.db.models import Min, Q, QuerySet
from django.utils import timezone

from compliance.checks.models import Check
from compliance.checks.timeline import recut
from compliance.reminders import planning
from compliance.reminders.models import Reminder
from compliance.reminders.status import Status, with_status


def ready(*probes) -> None:
    """What these probes are to be checked for is worked out."""
    for probe in probes:
        recut(probe)


def swept(now=None) -> None:
    """A minute later: rows follow what was set for several sites."""
    planning.settle_all()


def come(**chosen) -> QuerySet[Reminder]:
    """What has come by now, with its status: the stock probe was placed long ago, so what it was asked for before its first check
    is left out."""
    begun = Check.objects.aggregate(first=Min("checked_at"))["first"] or datetime.min.replace(tzinfo=UTC)
    rows = Reminder.objects.filter(Q(due_at__gte=begun) | Q(recorded_at=None), **chosen)
    return with_status(rows, timezone.now()).exclude(status=Status.UPCOMING).order_by("due_at", "pk")


def told(**chosen) -> list[tuple]:
    """Due time and status of what has come, the first first."""
    return list(come(**chosen).values_list("due_at", "status"))


def statuses(**chosen) -> list[str]:
    return [status for _, status in told(**chosen)]
