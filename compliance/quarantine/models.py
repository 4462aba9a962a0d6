"""What people decide on readings in a quarantined span. The case itself is derived from the spans; only acts are stored."""

from django.conf import settings
from django.db import models

from shared.append_only import Fact


class Fate(models.TextChoices):
    STANDS = "stands", "Stands: the limit held within what its checks allow"
    MEASURED_AGAIN = "measured_again", "Measured again with a probe in tolerance"
    REWORKED = "reworked", "Cooked on or reheated"
    DISCARDED = "discarded", "Discarded"
    EATEN = "eaten", "Already eaten"
    RELEASED = "released", "Released on other evidence"


class Decision(Fact):
    """One person's decision on one reading. It stays with the reading however the timeline is cut again.

    It keeps what it rested on, and counts as not made as soon as that no longer holds (see `grounds`).
    """

    reading = models.ForeignKey("readings.Reading", on_delete=models.PROTECT, related_name="decisions")
    probe = models.ForeignKey("probes.Probe", on_delete=models.PROTECT, related_name="decisions")
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, null=True, blank=True, related_name="replaced_by")
    case = models.CharField(max_length=24, db_index=True, help_text="The anchor of the run: check:12 or event:5.")
    fate = models.CharField(max_length=16, choices=Fate.choices)
    outcome = models.CharField(max_length=12, help_text="What the assessment said when it was decided.")
    why = models.TextField()
    good_reading = models.ForeignKey(
        "readings.Reading", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    good_standing = models.CharField(  # noqa: DJ001 - added later; SQLite would lose the guard in making the table anew
        max_length=12, null=True, help_text="The standing of the reading measured again when it was decided."
    )
    behind = models.ForeignKey(
        "checks.Check",
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        db_index=False,
        help_text="The check before the reading, by which the outcome was found.",
    )
    ahead = models.ForeignKey("checks.Check", on_delete=models.PROTECT, null=True, related_name="+", db_index=False)
    doubt = models.ForeignKey("checks.Check", on_delete=models.PROTECT, null=True, related_name="+", db_index=False)
    sensor = models.CharField(  # noqa: DJ001
        max_length=20, null=True, help_text="The kind of sensor by which the outcome was found; empty: not kept yet."
    )
    risk = models.TextField("assessment of the risk", blank=True)
    told = models.TextField("who was told", blank=True)
    evidence = models.TextField(blank=True)
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["reading", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["reading"], condition=models.Q(replaces__isnull=True), name="first_decision_once"
            )
        ]

    def __str__(self):
        return f"{self.reading}: {self.get_fate_display()}"


class Signature(Fact):
    """A supervisor's signature under a case in which no reading is left undecided."""

    case = models.CharField(max_length=24, db_index=True)
    probe = models.ForeignKey("probes.Probe", on_delete=models.PROTECT, related_name="signatures")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    readings = models.PositiveIntegerField()
    counts = models.JSONField(default=dict, help_text="Readings by decision at the time of signing.")
    signed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    signed_name = models.CharField(max_length=120)
    meaning = models.CharField(max_length=200)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["case", "pk"]

    def __str__(self):
        return f"{self.case} signed by {self.signed_name}"
