"""What is measured regularly at a site, and when it was out of use."""

from datetime import datetime

from django.db import models

from shared.append_only import Fact, Void
from shared.dated import DatedModel, SettingsFact
from shared.lines import Line


class ApplianceColumns(models.Model):
    name = Line(max_length=60)
    place = Line("where it stands", max_length=80, blank=True)
    retired = models.BooleanField("no longer measured", default=False)

    class Meta:
        abstract = True

    def __str__(self):
        return self.name


class Appliance(ApplianceColumns, DatedModel):
    """A walk-in chiller, a freezer, a hot cupboard, a delivery bay: each round of its limit asks for a reading of it."""

    dated = ("name", "place", "retired")

    site = models.ForeignKey("sites.Site", on_delete=models.PROTECT, related_name="appliances")
    limit = models.ForeignKey("limits.Limit", on_delete=models.PROTECT, related_name="appliances")

    class Meta:
        ordering = ["name", "pk"]

    def named_at(self, moment: datetime) -> "Appliance":
        """The appliance as it was called, and where it stood, at a moment. No query."""
        return self.as_of(moment)


class ApplianceSettings(ApplianceColumns, SettingsFact):
    appliance = models.ForeignKey(Appliance, on_delete=models.PROTECT, related_name="settings_facts")


class Why(models.TextChoices):
    DEFROSTING = "defrosting", "defrosting"
    EMPTY = "empty", "empty"
    BROKEN = "broken", "broken"
    CLEANED = "cleaned", "being cleaned"
    OFF = "off", "switched off"


class OutOfUse(Fact):
    """A time, from `starts_at` up to `ends_at`, in which no reading of an appliance is owed; without an end, until it is back."""

    appliance = models.ForeignKey(Appliance, on_delete=models.PROTECT, related_name="times_out_of_use")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField(null=True, blank=True)
    why = models.CharField(max_length=12, choices=Why.choices)
    note = Line(max_length=120, blank=True)

    class Meta:
        ordering = ["appliance", "starts_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(ends_at__isnull=True) | models.Q(ends_at__gt=models.F("starts_at")),
                name="out_of_use_ends_after_it_begins",
            )
        ]

    def __str__(self):
        return f"{self.appliance}, {self.get_why_display()}"

    @property
    def ended_at(self) -> datetime | None:
        """When it was back, as far as that is known: load `back` with it."""
        back = getattr(self, "back", None)
        return min(filter(None, (self.ends_at, back and back.recorded_at)), default=None)

    @property
    def words(self) -> str:
        """Such as “broken: the engineer comes on Friday”."""
        return f"{self.get_why_display()}: {self.note}" if self.note else self.get_why_display()


class BackInUse(Fact):
    """From its recording on the appliance is in use again, whatever end was foreseen."""

    ends = models.OneToOneField(OutOfUse, on_delete=models.PROTECT, related_name="back")

    def __str__(self):
        return f"{self.ends.appliance} back in use"


class OutOfUseVoid(Void):
    voids = models.OneToOneField(OutOfUse, on_delete=models.PROTECT, related_name="void")
