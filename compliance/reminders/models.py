"""What was to be done when: a row for each due time, and excuses; and what keeps the schedule honest when several processes,
or none, look after it."""

from django.db import models
from django.db.models import Q

from shared.facts import Fact, Void


class Reminder(models.Model):
    """A due time that has come, of one probe or of a round of readings. Written once by the sweep, whatever happens after.

    Whether it is due, overdue, cleared, missed or excused is not kept but looked up: see `status.py`. A check or reading made
    in (opens_at, closes_at] clears it. `closes_at` is the due time after it and moves with plan and calendar while it is to
    come.
    """

    # The sweep writes these by the thousand, and nothing they name is ever deleted: checks of foreign keys would only hold
    # rows that people are about to change.
    probe = models.ForeignKey(
        "probes.Probe",
        on_delete=models.PROTECT,
        null=True,
        related_name="reminders",
        db_constraint=False,
        db_index=False,
    )
    round = models.ForeignKey(
        "plans.Round",
        on_delete=models.PROTECT,
        null=True,
        related_name="reminders",
        db_constraint=False,
        db_index=False,
    )
    site = models.ForeignKey(
        "sites.Site", on_delete=models.PROTECT, related_name="reminders", db_constraint=False, db_index=False
    )
    since_at = models.DateTimeField(
        help_text="The due time since which nothing was done; its own, if that is the first."
    )
    opens_at = models.DateTimeField()
    due_at = models.DateTimeField()
    grace_at = models.DateTimeField(help_text="From here on it is overdue.")
    closes_at = models.DateTimeField(help_text="From here on it is missed.")
    because = models.CharField(max_length=200)
    away = models.BooleanField("asks for a check away from zero", default=False)

    class Meta:
        ordering = ["due_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(probe__isnull=True, round__isnull=False) | Q(probe__isnull=False, round__isnull=True),
                name="reminder_of_a_probe_or_a_round",
            ),
            models.UniqueConstraint(
                fields=["probe", "due_at"], name="reminder_of_probe_once", condition=Q(probe__isnull=False)
            ),
            models.UniqueConstraint(
                fields=["round", "due_at"], name="reminder_of_round_once", condition=Q(round__isnull=False)
            ),
        ]
        indexes = [
            models.Index(fields=["site", "due_at"], name="reminder_at_site"),
            models.Index(fields=["probe", "since_at", "closes_at"], name="reminder_still_open"),
            models.Index(fields=["due_at"], name="reminder_of_round_lately", condition=Q(round__isnull=False)),
        ]

    def __str__(self):
        return f"{self.probe or self.round.limit}, due {self.due_at:%Y-%m-%d %H:%M}"


class Excuse(Fact):
    """Why a check or reading that was asked for need not be made. It can be struck out; the last that stands counts."""

    reminder = models.ForeignKey(Reminder, on_delete=models.PROTECT, related_name="excuses")
    reason = models.TextField()

    def __str__(self):
        return self.reason


class ExcuseVoid(Void):
    voids = models.OneToOneField(Excuse, on_delete=models.PROTECT, related_name="void")
    replacement = models.OneToOneField(Excuse, on_delete=models.PROTECT, null=True, blank=True, related_name="corrects")


class Heartbeat(models.Model):
    """When a part of the engine was last well, by the database's clock, and what it said."""

    name = models.CharField(max_length=64, primary_key=True)
    at = models.DateTimeField()
    said = models.JSONField(default=dict)

    def __str__(self):
        return self.name


class Lease(models.Model):
    """Who alone may do something for now. Both times are the database's; `leases.py` is the only one to write them."""

    name = models.CharField(max_length=64, primary_key=True)
    holder = models.CharField(max_length=200, blank=True)
    granted_at = models.DateTimeField()
    until = models.DateTimeField()

    def __str__(self):
        return self.name
