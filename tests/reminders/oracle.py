"""What has become of a reminder, in plain words: the rule that the expression of the database is compared with."""

from collections.abc import Iterable
from datetime import datetime

from compliance.checks.models import Check, CheckKind, Stage, Verdict
from compliance.plans.models import Point, Reminder
from compliance.readings.models import Reading
from compliance.reminders.status import AT_THE_TIME, NEAR_ZERO_MILLI, Status


def status(reminder: Reminder, *, cleared_at: datetime | None, excused: bool, now: datetime) -> Status:
    """What has been done goes before an excuse, an excuse before what is no longer asked for, that before what was missed.

    `cleared_at` is when the check or reading that clears it was made, as `cleared_at()` finds it.
    """
    if cleared_at is not None:
        return Status.CLEARED
    if excused:
        return Status.EXCUSED
    if reminder.cancelled_at is not None:
        return Status.CANCELLED
    if now >= reminder.closes_at:
        return Status.NOT_ASKED if asked_too_late(reminder) else Status.MISSED
    if now < reminder.due_at:
        return Status.UPCOMING
    return Status.OVERDUE if now >= reminder.grace_at else Status.DUE


def asked_too_late(reminder: Reminder) -> bool:
    """Whether its grace was over when it was recorded: whoever was there was not asked in time."""
    return reminder.recorded_at is not None and reminder.recorded_at > reminder.grace_at + AT_THE_TIME


def cleared_at(reminder: Reminder, checks: Iterable[Check], readings: Iterable[Reading] = ()) -> datetime | None:
    """When the first of these that counts was made.

    Give live checks of the probe, or live readings under the round's limit at its site.
    """
    counting = [check.checked_at for check in checks if _counts(reminder, check)]
    taken = [
        r.taken_at for r in readings if r.vouched is not False and reminder.opens_at < r.taken_at <= reminder.closes_at
    ]
    return min([*counting, *taken], default=None)


def _counts(reminder: Reminder, check: Check) -> bool:
    """A check as left comes just after what happened at the same moment."""
    near = check.kind == CheckKind.ZERO or (
        check.kind == CheckKind.CERTIFICATE and abs(check.reference_milli) <= NEAR_ZERO_MILLI
    )
    opened = check.checked_at > reminder.opens_at or (
        check.checked_at == reminder.opens_at and check.stage == Stage.AS_LEFT
    )
    conclusive = check.verdict != Verdict.INCONCLUSIVE
    return (
        conclusive and near == (reminder.point != Point.BOILING) and opened and check.checked_at <= reminder.closes_at
    )
