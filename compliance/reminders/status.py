"""What has become of a reminder, as an expression of the database; its tests say it once more in plain words.

None of it is kept. That something becomes due, overdue or missed is the passing of time. A check that is entered late, or
struck out, changes what it cleared by itself.
"""

from collections.abc import Callable
from datetime import datetime, timedelta

from django.db import models
from django.db.models import Case, ExpressionWrapper, F, OuterRef, Q, QuerySet, Value, When
from django.db.models.functions import Coalesce

from compliance.checks.models import Check, CheckKind, Stage, Verdict
from compliance.metrology.marks import NEAR_ZERO
from compliance.plans.models import Point
from compliance.readings.models import Reading
from shared.prepared import Looked, PreparedSubquery, Slot

from .models import Excuse, Reminder


class Status(models.TextChoices):
    UPCOMING = "upcoming", "upcoming"
    DUE = "due", "due"
    OVERDUE = "overdue", "overdue"
    CLEARED = "cleared", "done"
    MISSED = "missed", "missed"
    EXCUSED = "excused", "excused"
    CANCELLED = "cancelled", "no longer asked for"
    NOT_ASKED = "not_asked", "not asked in time"


OPEN = (Status.DUE, Status.OVERDUE)
AT_THE_TIME = timedelta(minutes=15)  # in which what an act asks for at once is recorded
NEAR_ZERO_MILLI = round(NEAR_ZERO * 1000)
AT_ZERO = Q(kind=CheckKind.ZERO) | Q(
    kind=CheckKind.CERTIFICATE, reference_milli__gte=-NEAR_ZERO_MILLI, reference_milli__lte=NEAR_ZERO_MILLI
)
CONCLUSIVE = Q(verdict__in=[Verdict.IN_TOLERANCE, Verdict.OUT_OF_TOLERANCE])
RELIED_ON = Q(vouched=True) | Q(vouched__isnull=True)


def cancelled_too_late(reminder: Reminder) -> bool:
    """Whether its grace was over when it was cancelled: it was not done in time, and only later found not to be owed."""
    return reminder.cancelled_at is not None and reminder.cancelled_at >= reminder.grace_at


def clearing_checks(of: Callable = OuterRef) -> QuerySet[Check]:
    """For a queryset of reminders: the checks that clear each, the first of them first."""
    opens = of("opens_at")
    opened = Q(checked_at__gt=opens) | Q(checked_at=opens, stage=Stage.AS_LEFT)
    wanted = (AT_ZERO & ~Q(wants=Point.BOILING)) | (~AT_ZERO & Q(wants=Point.BOILING))
    # The bounds stand alone, so that both engines look them up in the index of the probe.
    within = Check.objects.live().filter(
        CONCLUSIVE, probe=of("probe"), checked_at__gte=opens, checked_at__lte=of("closes_at")
    )
    return (
        within.alias(wants=ExpressionWrapper(of("point"), models.CharField()))
        .filter(opened, wanted)
        .order_by("checked_at", "pk")
    )


def clearing_readings(of: Callable = OuterRef) -> QuerySet[Reading]:
    """For a queryset of reminders of rounds: the readings that clear each, the first of them first.

    One taken with a probe that was not to be relied on, as known when it was entered, clears none; later doubt changes nothing.
    """
    return _readings_within(of).filter(RELIED_ON)


def doubted_readings(of: Callable = OuterRef) -> QuerySet[Reading]:
    """For a queryset of reminders of rounds: the readings that would clear each, had their probe been one to be relied on."""
    return _readings_within(of).filter(vouched=False)


def _readings_within(of: Callable) -> QuerySet[Reading]:
    """Of a limit without appliances any reading under it; of an appliance those that name it."""
    named = Q(asked__isnull=True) | Q(appliance=F("asked"))
    return (
        Reading.objects.live()
        .filter(
            site=of("site"),
            taken_at__gt=of("opens_at"),
            taken_at__lte=of("closes_at"),
            limit_version__limit=of("limit"),
        )
        .alias(asked=ExpressionWrapper(of("appliance"), models.BigIntegerField()))
        .filter(named)
        .order_by("taken_at", "pk")
    )


# The columns of a reminder that these ask for.
OF_CHECKS = ("probe", "point", "opens_at", "closes_at")
OF_READINGS = ("site", "limit", "appliance", "opens_at", "closes_at")


def _looked_up(
    model: type[models.Model], found: Callable[[Callable], QuerySet], column: str, asked: tuple[str, ...]
) -> Looked:
    """A column of the first of those."""
    field = model._meta.get_field(column)
    shown = field if isinstance(field, models.DateTimeField) else models.BigIntegerField()
    return PreparedSubquery(lambda: found(_slot).values(column)[:1], shown)(**{name: name for name in asked})


def _slot(name: str) -> Slot:
    field = Reminder._meta.get_field(name)
    return Slot(name, None if field.is_relation else field)


CHECK = _looked_up(Check, clearing_checks, "id", OF_CHECKS)
CHECKED_AT = _looked_up(Check, clearing_checks, "checked_at", OF_CHECKS)
READING = _looked_up(Reading, clearing_readings, "id", OF_READINGS)
TAKEN_AT = _looked_up(Reading, clearing_readings, "taken_at", OF_READINGS)
DOUBTED = _looked_up(Reading, doubted_readings, "id", OF_READINGS)
EXCUSED = PreparedSubquery(
    lambda: Excuse.objects.live().filter(reminder=Slot("pk")).order_by().values("pk"),
    models.BooleanField(),
    "EXISTS(%s)",
)(pk="pk")


def over_or_overdue(now: datetime, *, overdue: bool) -> Q:
    """What is missed by now unless it was done, excused or cancelled; with `overdue` also what could be done still."""
    late = Q(closes_at__gt=now, due_at__lte=now, grace_at__lte=now)
    in_time = Q(recorded_at__isnull=True) | Q(recorded_at__lte=F("grace_at") + AT_THE_TIME)
    missed = Q(closes_at__lte=now) & in_time
    return missed | late if overdue else missed


def with_status(reminders: QuerySet[Reminder], now: datetime | Slot) -> QuerySet[Reminder]:
    """With `check_id`, `reading_id` and `cleared_at` of what clears each, `excused`, and `status`."""
    return reminders.annotate(
        check_id=CHECK,
        reading_id=READING,
        excused=EXCUSED,
        cleared_at=Coalesce(CHECKED_AT, TAKEN_AT, output_field=models.DateTimeField()),
    ).annotate(status=_status(now))


def still_open(reminders: QuerySet[Reminder], now: datetime) -> QuerySet[Reminder]:
    """Those that are asked for now and not done, with their status."""
    return with_status(reminders, now).filter(status__in=OPEN)


def _status(now: datetime | Slot) -> Case:
    """What has been done goes before an excuse, an excuse before what is no longer asked for, that before what was missed. Nobody
    was asked in time where its grace was over when it was recorded."""
    return Case(
        When(cleared_at__isnull=False, then=Value(Status.CLEARED.value)),
        When(excused=True, then=Value(Status.EXCUSED.value)),
        When(cancelled_at__isnull=False, then=Value(Status.CANCELLED.value)),
        When(closes_at__lte=now, recorded_at__gt=F("grace_at") + AT_THE_TIME, then=Value(Status.NOT_ASKED.value)),
        When(closes_at__lte=now, then=Value(Status.MISSED.value)),
        When(due_at__gt=now, then=Value(Status.UPCOMING.value)),
        When(grace_at__lte=now, then=Value(Status.OVERDUE.value)),
        default=Value(Status.DUE.value),
        output_field=models.CharField(max_length=9),
    )
