"""Saying why what was asked for need not be done. Nothing here clears a reminder: only a check or a reading does."""

from collections.abc import Iterable
from itertools import groupby

from django.core.exceptions import ValidationError

from compliance.plans.models import Closure
from compliance.plans.store import tell_again
from shared import clock
from shared.audit.trail import action, note
from shared.reasons import as_reason
from sites.models import Person

from .models import Excuse, ExcuseVoid, Reminder
from .status import Status, with_status

TO_DO = "Say why, in words that an inspector will understand. The record prints them."


@action("reminder.excuse")
def excuse_reminder(*, by: Person, reminder: Reminder, reason: str) -> Excuse:
    """What was asked for need not be done, or need not have been. It stays in the record with the reason.

    Raises ValidationError without a reason, and for what was done, is excused already, cancelled or not due yet.
    """
    reason = as_reason(reason, ask=TO_DO, usual="excuse")
    Reminder.objects.select_for_update().get(pk=reminder.pk)
    now = with_status(Reminder.objects.filter(pk=reminder.pk), clock.now()).get()
    if now.excused:
        known = reminder.excuses.live().select_related("recorded_by").get()
        told = f"{known.recorded_by} has excused this already: “{known.reason}”. Nothing was changed."
        raise ValidationError(f"{told} Strike that excuse out first to give another reason.")
    if now.status == Status.CLEARED:
        raise ValidationError("This was done: there is nothing to excuse.")
    if now.status == Status.CANCELLED:
        raise ValidationError("Nothing asks for this any more: there is nothing to excuse.")
    if now.status == Status.UPCOMING:
        raise ValidationError("This is not due yet: there is nothing to excuse. Enter a closure, or change the plan.")
    excuse = Excuse.objects.create(reminder=reminder, reason=reason, recorded_by=by)
    note(
        "reminder.excuse",
        by=by,
        subject=reminder.probe or reminder.appliance or reminder.limit,
        site_id=reminder.site_id,
        reason=reason,
        reminder=reminder.pk,
        due_at=reminder.due_at.isoformat(),
        before=str(now.status),
    )
    return excuse


@action("reminder.excuse_closed")
def excuse_closed(*, by: Person, closure: Closure, reminders: Iterable[Reminder]) -> list[Excuse]:
    """What is open of days that turn out to be closed need not be done: each row has its excuse, with why it is closed."""
    held = Reminder.objects.select_for_update(of=("self",)).select_related("site")
    rows = list(held.filter(pk__in=[each.pk for each in reminders]).order_by("pk"))
    excuses = Excuse.objects.bulk_create(Excuse(reminder=row, reason=closure.why, recorded_by=by) for row in rows)
    for site, some in groupby(sorted(rows, key=lambda row: row.site_id), key=lambda row: row.site):
        note(
            "reminder.excuse_closed",
            by=by,
            subject=site,
            site_id=site.pk,
            reason=closure.why,
            closure=closure.pk,
            reminders=[row.pk for row in some],
        )
    return excuses


@action("reminder.void_excuse")
def void_excuse(*, by: Person, excuse: Excuse, reason: str) -> ExcuseVoid:
    """The excuse no longer counts; it stays readable, struck out.

    Raises ValidationError without a reason, and for one that is struck out already.
    """
    reason = as_reason(reason, ask="Say why the excuse no longer counts.", usual="excuse_void")
    reminder = Reminder.objects.select_for_update().get(pk=excuse.reminder_id)
    if known := ExcuseVoid.objects.filter(voids=excuse).select_related("recorded_by").first():
        raise ValidationError(f"{known.recorded_by} has struck this excuse out already. Nothing was changed.")
    void = ExcuseVoid.objects.create(voids=excuse, reason=reason, recorded_by=by)
    tell_again(Reminder.objects.filter(pk=reminder.pk), clock.now())
    note(
        "reminder.void_excuse",
        by=by,
        subject=reminder.probe or reminder.appliance or reminder.limit,
        site_id=reminder.site_id,
        reason=void.reason,
        reminder=reminder.pk,
        excuse=excuse.pk,
    )
    return void
