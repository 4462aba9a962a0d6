"""Reminders with the least said."""

from django.utils import timezone

from compliance.checks.planning import make_slots
from compliance.checks.timeline import recut
from compliance.reminders.models import Reminder
from compliance.reminders.status import with_status
from compliance.reminders.sweep import sweep


def ready(*probes) -> None:
    """The due times ahead of these probes' sites are known, and so is what each is due for."""
    make_slots({probe.site_id for probe in probes})
    for probe in probes:
        recut(probe)


def swept(now=None) -> int:
    return sweep(now or timezone.now())


def told(**chosen) -> list[tuple]:
    """Due time and status of what has fallen due, or of what is due at a moment, the first first."""
    now = timezone.now()
    asked = Reminder.objects.filter(**chosen)
    if "due_at" not in chosen:
        asked = asked.exclude(limit__isnull=False, due_at__gt=now)
    rows = with_status(asked, now).order_by("due_at")
    return list(rows.values_list("due_at", "status"))


def statuses(**chosen) -> list[str]:
    return [status for _, status in told(**chosen)]
