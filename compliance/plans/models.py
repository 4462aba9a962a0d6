"""What is to be done when: plans of checks, rounds of readings, opening days and closures; the due times they make, and those
that have come.
"""

from datetime import time
from functools import reduce
from operator import or_

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from compliance.metrology.vocabulary import CheckKind
from compliance.probes.models import Sensor
from shared.append_only import Fact, Void
from shared.lines import Line

from . import schedule
from .calendar import Hours


class Pattern(models.TextChoices):
    EVERY_DAYS = schedule.EVERY_DAYS, "every so many days"
    WEEKDAYS = schedule.ON_WEEKDAYS, "on chosen weekdays"


def one_of(*names: str) -> Q:
    """Exactly one of these is given."""
    return reduce(or_, (Q(**{f"{other}__isnull": other != name for other in names}) for name in names))


def _scope(to: str, name: str) -> models.ForeignKey:
    return models.ForeignKey(to, on_delete=models.PROTECT, null=True, blank=True, related_name=name)


class CheckPlan(Fact):
    """When probes are to be checked, from a day on: one probe, a kind at a site, a site, a kind in a business, a business.

    The nearest in force counts. Of those of one scope the last to begin counts, and of those the last recorded.
    """

    business = _scope("sites.Business", "check_plans")
    site = _scope("sites.Site", "check_plans")
    sensor = models.CharField("kind of sensor", max_length=20, choices=Sensor.choices, blank=True)
    probe = _scope("probes.Probe", "check_plans")
    effective_from = models.DateField(help_text="The first day, on the clock of the site.")
    in_force = models.BooleanField(default=True, help_text="Off: the next wider plan counts again.")
    pattern = models.CharField(max_length=10, choices=Pattern.choices, default=Pattern.EVERY_DAYS)
    every_days = models.PositiveSmallIntegerField(
        "days between checks", default=7, validators=[MinValueValidator(1), MaxValueValidator(366)]
    )
    weekdays = models.PositiveSmallIntegerField(
        default=0, validators=[MaxValueValidator(schedule.ALL_WEEK)], help_text="Monday 1, Tuesday 2, Wednesday 4 …"
    )
    at = models.TimeField("time of day", default=time(9))
    before_service = models.BooleanField(default=False, help_text="Due before opening, where the hours are known.")
    minutes_before = models.PositiveSmallIntegerField(
        "minutes before opening", default=30, validators=[MaxValueValidator(720)]
    )
    grace_minutes = models.PositiveSmallIntegerField(
        "grace in minutes", default=120, validators=[MaxValueValidator(10_080)]
    )
    reason = models.TextField(blank=True)

    class Meta:
        ordering = ["-effective_from", "-pk"]
        constraints = [
            models.CheckConstraint(condition=one_of("business", "site", "probe"), name="plan_of_one_scope"),
            models.CheckConstraint(condition=Q(probe__isnull=True) | Q(sensor=""), name="plan_of_a_probe_has_no_kind"),
        ]

    def __str__(self):
        return self.as_plan().usual if self.in_force else "as the wider plan says"

    def as_plan(self) -> schedule.Plan:
        return schedule.Plan(
            key=self.pk or 0,
            pattern=str(self.pattern),
            every_days=self.every_days,
            weekdays=self.weekdays,
            at=self.at,
            minutes_before=self.minutes_before if self.before_service else None,
            grace_minutes=self.grace_minutes,
            set_at=self.recorded_at or schedule.LONG_PAST,
        )


class Round(Fact):
    """When readings are to be taken against a limit, from a day on. The last to begin counts; off: no rounds."""

    limit = models.ForeignKey("limits.Limit", on_delete=models.PROTECT, related_name="rounds")
    effective_from = models.DateField(help_text="The first day, on the clock of the site.")
    in_force = models.BooleanField(default=True)
    times = models.JSONField("times of day", default=list, help_text='Local times such as "08:00".')
    every_minutes = models.PositiveSmallIntegerField(
        "minutes between readings while open",
        null=True,
        blank=True,
        validators=[MinValueValidator(15), MaxValueValidator(1440)],
    )
    weekdays = models.PositiveSmallIntegerField(
        default=schedule.ALL_WEEK, validators=[MinValueValidator(1), MaxValueValidator(schedule.ALL_WEEK)]
    )
    grace_minutes = models.PositiveSmallIntegerField(
        "grace in minutes", default=30, validators=[MaxValueValidator(1440)]
    )
    reason = models.TextField(blank=True)

    class Meta:
        ordering = ["limit", "-effective_from", "-pk"]

    def __str__(self):
        return f"{self.limit}: {self.usual}"

    @property
    def usual(self) -> str:
        return self.as_plan().usual if self.in_force else "no rounds"

    def as_plan(self) -> schedule.RoundPlan:
        return schedule.RoundPlan(
            key=self.pk or 0,
            times=tuple(time.fromisoformat(at) for at in self.times),
            every_minutes=self.every_minutes,
            weekdays=self.weekdays,
            grace_minutes=self.grace_minutes,
        )


class Opening(Fact):
    """The hours of a site by weekday, from a day on. The last to begin counts."""

    site = models.ForeignKey("sites.Site", on_delete=models.PROTECT, related_name="openings")
    effective_from = models.DateField()
    hours = models.JSONField(
        default=list, help_text="Seven, Monday first: [opening, closing] as local times, or null where closed that day."
    )
    reason = models.TextField(blank=True)

    class Meta:
        ordering = ["site", "-effective_from", "-pk"]

    def __str__(self):
        return f"{self.site} from {self.effective_from:%Y-%m-%d}"

    def as_hours(self) -> tuple[Hours | None, ...]:
        return tuple(day and Hours(*(time.fromisoformat(at) for at in day)) for day in self.hours)


class Closure(Fact):
    """Days, both included, on which a site, an area or a business does not work: nothing falls due, and this says why."""

    business = _scope("sites.Business", "closures")
    area = _scope("sites.Area", "closures")
    site = _scope("sites.Site", "closures")
    first_day = models.DateField()
    last_day = models.DateField()
    why = Line(max_length=80)

    class Meta:
        ordering = ["first_day", "pk"]
        constraints = [
            models.CheckConstraint(condition=one_of("business", "area", "site"), name="closure_of_one_scope"),
            models.CheckConstraint(
                condition=Q(last_day__gte=models.F("first_day")), name="closure_ends_after_it_begins"
            ),
        ]

    def __str__(self):
        return f"{self.why}, {self.first_day:%Y-%m-%d} to {self.last_day:%Y-%m-%d}"


class ClosureVoid(Void):
    voids = models.OneToOneField(Closure, on_delete=models.PROTECT, related_name="void")
    replacement = models.OneToOneField(
        Closure, on_delete=models.PROTECT, null=True, blank=True, related_name="corrects"
    )


class Unsettled(models.Model):
    """A site for which something was set that its rows do not follow yet: until its turn it keeps those that it had."""

    site = models.OneToOneField("sites.Site", on_delete=models.CASCADE, primary_key=True, related_name="unsettled")
    first = models.DateTimeField(help_text="When the first of what they do not follow yet was set.")
    since = models.DateTimeField(help_text="When the last of it was set.")

    def __str__(self):
        return f"{self.site} since {self.since:%Y-%m-%d %H:%M}"


class Point(models.TextChoices):
    """Of the scale, of which a check is asked for."""

    ZERO = CheckKind.ZERO.value, "zero point"
    BOILING = CheckKind.BOILING.value, "boiling point"


def _of(to: str, *, null: bool = True) -> models.ForeignKey:
    """They are written by the thousand, and nothing they name is ever deleted: checks of foreign keys would only hold rows that
    people are about to change."""
    given = {"related_name": "reminders", "db_constraint": False, "db_index": False}
    return models.ForeignKey(to, on_delete=models.PROTECT, null=null, **given)


class Reminder(models.Model):
    """What is asked for at a due time, past or ahead: a check of one probe, or a reading under one limit, of one appliance where
    the limit has some. Derived by the folds.

    Whether it is to come, due, overdue, cleared, missed or excused is not kept but looked up: see `reminders/status.py`. A
    check or reading made in (opens_at, closes_at] clears it. `closes_at` moves with what is due next while it is to come. Of a
    reading `round` says which of the rounds of its limit asks for it.
    """

    probe = _of("probes.Probe")
    round = _of("plans.Round")
    site = _of("sites.Site", null=False)
    limit = _of("limits.Limit")
    appliance = _of("appliances.Appliance")
    point = models.CharField("point of the scale", max_length=8, choices=Point.choices, blank=True, db_default="")
    day = models.DateField(
        null=True, help_text="The local day that the plan names; empty where something asks at once."
    )
    recorded_at = models.DateTimeField(
        null=True, help_text="When it was first written. Empty: before rows lay ahead, and so it stands as it is."
    )
    opens_at = models.DateTimeField()
    due_at = models.DateTimeField()
    grace_at = models.DateTimeField(help_text="From here on it is overdue.")
    closes_at = models.DateTimeField(help_text="From here on it is missed.")
    late_at = models.DateTimeField(null=True, help_text="From here on people are told that it is late.")
    because = models.CharField(max_length=200)
    cancelled_at = models.DateTimeField(null=True, help_text="Since when nothing asks for it any more.")
    cancelled_because = models.CharField(max_length=300, blank=True, db_default="")

    class Meta:
        ordering = ["due_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(probe__isnull=True, round__isnull=False) | Q(probe__isnull=False, round__isnull=True),
                name="reminder_of_a_probe_or_a_round",
            ),
            models.UniqueConstraint(
                fields=["probe", "due_at", "point"], name="reminder_of_point_once", condition=Q(probe__isnull=False)
            ),
            models.UniqueConstraint(
                fields=["limit", "due_at"],
                name="reminder_of_limit_once",
                condition=Q(limit__isnull=False, appliance__isnull=True, recorded_at__isnull=False),
            ),
            models.UniqueConstraint(
                fields=["appliance", "due_at"],
                name="reminder_of_appliance_once",
                condition=Q(appliance__isnull=False),
            ),
        ]
        indexes = [
            models.Index(fields=["site", "due_at"], name="reminder_at_site"),
            models.Index(fields=["late_at"], name="reminder_late"),
            models.Index(
                fields=["limit", "due_at"],
                name="reminder_of_limit",
                condition=Q(limit__isnull=False, appliance__isnull=True),
            ),
            models.Index(fields=["due_at"], name="reminder_of_round_lately", condition=Q(round__isnull=False)),
        ]

    def __str__(self):
        return f"{self.probe or self.what_then}, due {self.due_at:%Y-%m-%d %H:%M}"

    @property
    def what_then(self) -> str:
        """Of a reading: what is to be measured, an appliance by the name that it had when that fell due. Load both with it."""
        if self.appliance_id is None:
            return str(self.limit)
        return f"{self.appliance.named_at(self.due_at)} ({self.limit})"

    @property
    def away(self) -> bool:
        """Whether it asks for a check away from zero."""
        return self.point == Point.BOILING
