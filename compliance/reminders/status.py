"""What has become of a reminder, as an expression of the database; its tests say it once more in plain words.

None of it is kept. That something becomes due, overdue or missed is the passing of time. A check that is entered late, or
struck out, changes what it cleared by itself.
"""

from datetime import datetime, timedelta

from django.db import models
from django.db.models import Case, Exists, ExpressionWrapper, F, OuterRef, Q, QuerySet, Subquery, Value, When
from django.db.models.functions import Coalesce

from compliance.checks.models import Check, CheckKind, Stage, Verdict
from compliance.metrology.marks import NEAR_ZERO
from compliance.plans.models import Point
from compliance.readings.models import Reading

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


def clearing_checks() -> QuerySet[Check]:
    """For a queryset of reminders: the checks that clear each, the first of them first."""
    opened = Q(checked_at__gt=OuterRef("opens_at")) | Q(checked_at=OuterRef("opens_at"), stage=Stage.AS_LEFT)
    wanted = (AT_ZERO & ~Q(wants=Point.BOILING)) | (~AT_ZERO & Q(wants=Point.BOILING))
    # The bounds stand alone, so that both engines look them up in the index of the probe.
    within = Check.objects.live().filter(
        CONCLUSIVE,
        probe=OuterRef("probe"),
        checked_at__gte=OuterRef("opens_at"),
        checked_at__lte=OuterRef("closes_at"),
    )
    return (
        within.alias(wants=ExpressionWrapper(OuterRef("point"), models.CharField()))
        .filter(opened, wanted)
        .order_by("checked_at", "pk")
    )


def clearing_readings() -> QuerySet[Reading]:
    """For a queryset of reminders of rounds: the readings that clear each, the first of them first.

    One taken with a probe that was not to be relied on, as known when it was entered, clears none; later doubt changes nothing.
    """
    return _readings_within().filter(RELIED_ON)


def doubted_readings() -> QuerySet[Reading]:
    """For a queryset of reminders of rounds: the readings that would clear each, had their probe been one to be relied on."""
    return _readings_within().filter(vouched=False)


def _readings_within() -> QuerySet[Reading]:
    """Of a limit without appliances any reading under it; of an appliance those that name it."""
    named = Q(asked__isnull=True) | Q(appliance=F("asked"))
    return (
        Reading.objects.live()
        .filter(
            site=OuterRef("site"),
            taken_at__gt=OuterRef("opens_at"),
            taken_at__lte=OuterRef("closes_at"),
            limit_version__limit=OuterRef("limit"),
        )
        .alias(asked=ExpressionWrapper(OuterRef("appliance"), models.BigIntegerField()))
        .filter(named)
        .order_by("taken_at", "pk")
    )


def excused() -> Exists:
    """For a queryset of reminders: whether an excuse stands for it."""
    return Exists(Excuse.objects.live().filter(reminder=OuterRef("pk")))


def over_or_overdue(now: datetime, *, overdue: bool) -> Q:
    """What is missed by now unless it was done, excused or cancelled; with `overdue` also what could be done still."""
    late = Q(closes_at__gt=now, due_at__lte=now, grace_at__lte=now)
    in_time = Q(recorded_at__isnull=True) | Q(recorded_at__lte=F("grace_at") + AT_THE_TIME)
    missed = Q(closes_at__lte=now) & in_time
    return missed | late if overdue else missed


def with_status(reminders: QuerySet[Reminder], now: datetime) -> QuerySet[Reminder]:
    """With `check_id`, `reading_id` and `cleared_at` of what clears each, `excused`, and `status`."""
    at = models.DateTimeField()
    done = reminders.annotate(
        check_id=Subquery(clearing_checks().values("pk")[:1]),
        reading_id=Subquery(clearing_readings().values("pk")[:1]),
        excused=excused(),
        cleared_at=Coalesce(
            Subquery(clearing_checks().values("checked_at")[:1]),
            Subquery(clearing_readings().values("taken_at")[:1]),
            output_field=at,
        ),
    )
    return done.annotate(status=_status(now))


def _status(now: datetime) -> Case:
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
