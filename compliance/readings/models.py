"""What was measured, against which limit; deviations, and what was done about them."""

import uuid

from django.conf import settings
from django.db import models
from django.utils import timezone

from compliance.checks.fitness import Fitness
from compliance.probes.models import OfItsTime
from shared.append_only import Fact, Void
from shared.lines import Line
from shared.units import Unit


class Import(Fact):
    """What came in of a file of readings at one go, and what did not, with the reason line by line.

    A long file comes in pieces, so that others can write between them: `part_of` is the first of these.
    """

    part_of = models.ForeignKey("self", on_delete=models.PROTECT, null=True, related_name="later_parts")
    rest_after = models.PositiveIntegerField(
        "line after which the rest was to come", null=True, help_text="Empty where this reached the end of the file."
    )
    site = models.ForeignKey("sites.Site", on_delete=models.PROTECT, null=True, related_name="imports")
    file_name = models.CharField(max_length=200)
    digest = models.CharField("SHA-256 of the file", max_length=64)
    rows = models.PositiveIntegerField()
    added = models.PositiveIntegerField()
    known = models.PositiveIntegerField("already in the record")
    breaches = models.PositiveIntegerField("beyond their limit", default=0)
    refused = models.JSONField(default=list, help_text="[line, reason] each, the first thousands of them.")
    doubts = models.JSONField(default=list, help_text="[line, words] each: accepted, but worth a look.")
    sites = models.JSONField(default=list, help_text="Keys of the sites that its rows belong to.")

    def __str__(self):
        return self.file_name

    @property
    def refused_count(self) -> int:
        return self.rows - self.added - self.known


class PendingUpload(models.Model):
    """A file between its preview and the yes or no of the person who sent it. Working state, not a record."""

    key = models.UUIDField(unique=True, default=uuid.uuid4)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    file_name = models.CharField(max_length=200)
    packed = models.BinaryField("content, compressed")
    uploaded_at = models.DateTimeField(default=timezone.now)
    became = models.ForeignKey(Import, on_delete=models.PROTECT, null=True, related_name="+")

    def __str__(self):
        return self.file_name


class Reading(OfItsTime, Fact):
    """A temperature of food or of a unit, judged by the limit version in force at its site and time."""

    moment = "taken_at"

    key = models.CharField(max_length=32, unique=True, help_text="Sending a form or a file twice adds nothing.")
    probe = models.ForeignKey("probes.Probe", on_delete=models.PROTECT, related_name="readings", db_index=False)
    site = models.ForeignKey("sites.Site", on_delete=models.PROTECT, related_name="readings", db_index=False)
    limit_version = models.ForeignKey(
        "limits.LimitVersion", on_delete=models.PROTECT, related_name="readings", db_index=False
    )
    appliance = models.ForeignKey(
        "appliances.Appliance",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="readings",
        db_index=False,
        help_text="What was measured, where it is one of those that the site has named; a round of it is cleared by no other.",
    )
    item = Line("food or unit", max_length=120)
    typed = models.CharField("value as typed", max_length=20)
    unit = models.CharField(max_length=1, choices=Unit.choices)
    value_milli = models.IntegerField()
    hold_s = models.PositiveIntegerField("held for, in seconds", null=True, blank=True)
    since_start_s = models.PositiveIntegerField(
        "time since cooling or heating began, in seconds", null=True, blank=True
    )
    taken_at = models.DateTimeField()
    taken_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", db_index=False)
    note = models.TextField(blank=True)
    fitness = models.CharField(
        "the probe when this was entered",
        max_length=12,
        choices=Fitness.choices,
        blank=True,
        default="",
        db_default="",
        help_text="Whether it might be used when this was taken, as known when it was entered; empty for readings from a "
        "file and for those of old.",
    )
    used_despite = models.CharField(
        "why the probe was used all the same", max_length=500, blank=True, default="", db_default=""
    )
    vouched = models.BooleanField(
        "the probe was to be relied on",
        null=True,
        help_text="Whether it had a good check behind it then and no failure, adjustment or repair since, as known when this "
        "was entered; empty for readings of old.",
    )
    source = models.ForeignKey(Import, on_delete=models.PROTECT, null=True, related_name="readings", db_index=False)
    phone = models.JSONField(
        "time on the phone that kept it without network",
        null=True,
        help_text="`at`, by that phone's clock, which was ahead by `off_s`, or by `said_s`, as somebody answered.",
    )

    class Meta:
        ordering = ["-taken_at", "-pk"]
        indexes = [
            models.Index(fields=["probe", "taken_at", "site"], name="reading_of_probe"),
            models.Index(fields=["site", "-taken_at", "-id"], name="reading_at_site"),
            models.Index(fields=["-taken_at", "-id"], name="reading_newest"),
        ]

    def __str__(self):
        return f"{self.item} {self.typed} {self.get_unit_display()}"

    @property
    def lacks_hold(self) -> bool:
        """Whether its limit asks for how long it was held, and that was not recorded."""
        return bool(self.limit_version.hold_s) and self.hold_s is None


class ReadingVoid(Void):
    voids = models.OneToOneField(Reading, on_delete=models.PROTECT, related_name="void")
    replacement = models.OneToOneField(Reading, on_delete=models.PROTECT, null=True, related_name="corrects")


class Deviation(Fact):
    """Opened by a reading beyond its limit (or not held long enough); open until a corrective action is recorded."""

    reading = models.OneToOneField(Reading, on_delete=models.PROTECT, related_name="deviation")
    why = models.CharField(max_length=200)

    def __str__(self):
        return f"{self.reading}: {self.why}"


class Disposition(models.TextChoices):
    USED = "used", "used as intended after correction"
    REWORKED = "reworked", "cooked on, reheated or chilled again"
    MOVED = "moved", "moved to a unit that holds"
    DISCARDED = "discarded", "discarded"
    RETURNED = "returned", "returned to the supplier"
    HELD = "held", "held apart, not served"
    EATEN = "eaten", "already eaten"


class OfferedActs(Fact):
    """The words that a site offers as buttons where a limit is not met: of what was too warm, and of what was too
    cool. The last recorded count."""

    site = models.ForeignKey("sites.Site", on_delete=models.PROTECT, related_name="offered_acts")
    warm_actions = models.JSONField("what is done about what was too warm", default=list)
    warm_causes = models.JSONField("why something is too warm", default=list)
    cool_actions = models.JSONField("what is done about what was too cool", default=list)
    cool_causes = models.JSONField("why something is too cool", default=list)
    dispositions = models.JSONField("what becomes of the food", default=list)

    def __str__(self):
        return f"{self.site}: what is offered where a limit is not met"


class CorrectiveAction(Fact):
    """What was done about a deviation. A later one names the one it replaces."""

    deviation = models.ForeignKey(Deviation, on_delete=models.PROTECT, related_name="actions")
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, null=True, blank=True, related_name="replaced_by")
    action = models.TextField("what was done")
    cause = models.TextField("why it happened")
    disposition = models.CharField("what became of the food", max_length=12, choices=Disposition.choices)
    note = models.TextField("risk, and who was told", blank=True)
    done_at = models.DateTimeField()
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["deviation", "pk"]

    def __str__(self):
        return self.get_disposition_display()
