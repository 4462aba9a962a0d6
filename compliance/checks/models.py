"""What a probe was worth: checks with their timed readings, and the spans that they cut its timeline into."""

from datetime import UTC, datetime

from django.conf import settings
from django.db import models

from compliance.metrology import vocabulary
from compliance.plans.models import Point
from compliance.probes.models import OfItsTime
from shared import clock
from shared.append_only import Fact, Void
from shared.lines import Line
from shared.units import Unit

# Open ends of a timeline, so that one index look-up finds a reading's span on both engines.
BEGINNING = datetime(1, 1, 2, tzinfo=UTC)
END = datetime(9999, 12, 30, tzinfo=UTC)


class CheckKind(models.TextChoices):
    ZERO = "zero", "zero point"
    BOILING = "boiling", "boiling point"
    CERTIFICATE = "certificate", "laboratory certificate"


class Stage(models.TextChoices):
    AS_FOUND = vocabulary.Stage.AS_FOUND.value, "as found"
    AS_LEFT = vocabulary.Stage.AS_LEFT.value, "as left, after adjustment"


class Verdict(models.TextChoices):
    IN_TOLERANCE = vocabulary.Verdict.IN_TOLERANCE.value, "in tolerance"
    OUT_OF_TOLERANCE = vocabulary.Verdict.OUT_OF_TOLERANCE.value, "out of tolerance"
    INCONCLUSIVE = vocabulary.Verdict.INCONCLUSIVE.value, "inconclusive"


class NoFigure(models.TextChoices):
    """What a probe showed that failed its check without a figure."""

    NOTHING = "nothing", "blank or dead"
    SIGN = "sign", "an error sign such as Lo or Err"
    STUCK = "stuck", "stuck, whatever it is held in"
    LOST = "lost", "lost or broken"


class Standing(models.TextChoices):
    PROVEN = vocabulary.Standing.PROVEN.value, "proven"
    PENDING = vocabulary.Standing.PENDING.value, "pending"
    QUARANTINED = vocabulary.Standing.QUARANTINED.value, "quarantined"
    UNPROVEN = vocabulary.Standing.UNPROVEN.value, "unproven"


class Check(OfItsTime, Fact):
    """One check, judged when it was recorded; figures in milli-kelvin, the budget as it was combined."""

    moment = "checked_at"

    key = models.UUIDField(help_text="Made by the page: sending a form twice records one check of a probe.")
    probe = models.ForeignKey("probes.Probe", on_delete=models.PROTECT, related_name="checks")
    site = models.ForeignKey("sites.Site", on_delete=models.PROTECT, related_name="checks")
    kind = models.CharField(max_length=12, choices=CheckKind.choices)
    stage = models.CharField(max_length=8, choices=Stage.choices)
    checked_at = models.DateTimeField()
    checked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    preparation = models.JSONField(
        default=dict,
        help_text="The bath or pan: its kind, the points that were met, and those that were left out, as somebody said.",
    )
    surroundings = models.JSONField(
        default=dict, help_text="At boiling: where the air pressure is from, in Pa, and the altitude in m."
    )
    immersion_mm = models.FloatField(null=True, blank=True)
    laboratory = Line(max_length=160, blank=True)
    certificate_number = Line(max_length=80, blank=True)
    note = models.TextField(blank=True)
    no_figure = models.CharField(
        "what it showed instead of a number",
        max_length=8,
        choices=NoFigure.choices,
        blank=True,
        default="",
        db_default="",
        help_text="Of a probe that failed because it shows none.",
    )
    reading_milli = models.IntegerField("settled reading", null=True)
    reference_milli = models.IntegerField(default=0)
    error_milli = models.IntegerField(null=True)
    expanded_milli = models.PositiveIntegerField("expanded uncertainty", null=True)
    tolerance_milli = models.PositiveIntegerField()
    decision_rule = models.CharField(max_length=12)
    verdict = models.CharField(max_length=16, choices=Verdict.choices)
    budget = models.JSONField(default=dict)
    why = models.JSONField(default=list, help_text="The verdict in plain sentences, the first the shortest.")
    figures = models.JSONField(default=list, help_text="The figures in words, for whoever asks.")
    typing = models.JSONField(
        null=True,
        help_text="Of the numbers typed: `taken_back`, those that do not count; `unit`, which one the display shows, and "
        "`moved`, whether it was seen to move, as somebody answered; `showed`, one beyond the tolerance that no verdict speaks "
        "of; `unfinished`.",
    )
    phone = models.JSONField(
        "time on the phone that kept it without network",
        null=True,
        help_text="`at`, by that phone's clock, which was ahead by `off_s`, or by `said_s`, as somebody answered.",
    )
    procedure_version = models.PositiveSmallIntegerField(
        "version of the procedure",
        null=True,
        help_text="Of its kind, in force when it was first entered; empty: not recorded.",
    )

    class Meta:
        ordering = ["probe", "-checked_at", "-pk"]
        constraints = [models.UniqueConstraint(fields=["key", "probe"], name="check_key_once_a_probe")]
        indexes = [
            models.Index(fields=["probe", "-checked_at"], name="check_of_probe"),
            models.Index(fields=["site", "-checked_at"], name="check_at_site"),
            models.Index(
                fields=["recorded_at"], name="check_failed_lately", condition=models.Q(verdict="out_of_tolerance")
            ),
        ]

    def __str__(self):
        return f"{self.probe} {self.get_kind_display()} {self.get_verdict_display()}"


class TimedReading(Fact):
    check_record = models.ForeignKey(Check, on_delete=models.PROTECT, related_name="timed_readings")
    elapsed_ms = models.PositiveIntegerField("time since the probe went in, in milliseconds")
    value_milli = models.IntegerField()
    typed = models.CharField(max_length=20)
    unit = models.CharField(max_length=1)

    class Meta:
        ordering = ["check_record", "elapsed_ms", "pk"]

    def __str__(self):
        return f"{self.typed} at {self.elapsed_ms / 1000:g} s"


class CheckVoid(Void):
    voids = models.OneToOneField(Check, on_delete=models.PROTECT, related_name="void")
    replacement = models.OneToOneField(Check, on_delete=models.PROTECT, null=True, related_name="corrects")


class CheckDraft(models.Model):
    """A check in progress, kept at each tap so that leaving the page loses nothing. Working state, not a record."""

    key = models.UUIDField(unique=True)
    probe = models.ForeignKey("probes.Probe", on_delete=models.CASCADE, related_name="drafts")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="drafts")
    kind = models.CharField(max_length=12, choices=CheckKind.choices, default=CheckKind.ZERO)
    started_at = models.DateTimeField()
    inserted_at = models.DateTimeField(null=True, help_text="When the probe went into the ice or the boiling water.")
    stage = models.CharField(max_length=8, choices=Stage.choices, default=Stage.AS_FOUND)
    preparation = models.JSONField(default=dict)
    surroundings = models.JSONField(default=dict)
    immersion_mm = models.FloatField(null=True, blank=True)
    readings = models.JSONField(
        default=list, help_text="[elapsed in ms, text typed, unit, whether somebody said that it is this unit] each."
    )
    struck = models.JSONField(default=list, help_text="Numbers typed and taken back; they are kept with the check.")
    unit = models.CharField(
        max_length=1,
        choices=Unit.choices,
        blank=True,
        help_text="What the display shows, as somebody answered; empty: what the site uses.",
    )
    tapped_at = models.DateTimeField(null=True, help_text="When somebody last changed it.")
    note = models.TextField(blank=True)
    bath_at = models.DateTimeField(null=True, help_text="When the bath was last made or drained.")
    together = models.UUIDField(
        null=True, db_index=True, help_text="Shared by the checks that one person makes in one bath."
    )
    company = models.JSONField(default=list, help_text="The keys of all checks in that bath, the finished ones too.")
    outside_since = models.DateTimeField(
        null=True,
        db_index=True,
        help_text="When a number beyond the tolerance was first typed: from then until the check is finished the probe "
        "is not to be used.",
    )

    class Meta:
        constraints = [models.UniqueConstraint(fields=["probe", "person", "kind"], name="one_check_in_progress")]

    def __str__(self):
        return f"{self.probe}, in progress"

    def save(self, *args, update_fields=None, **kwargs):
        """Each tap saves it, so that one nobody taps on any more is known."""
        self.tapped_at = clock.now()
        fields = None if update_fields is None else {*update_fields, "tapped_at"}
        super().save(*args, update_fields=fields, **kwargs)


class Span(models.Model):
    """(starts_at, ends_at] of one probe's timeline. Derived: cut again whenever a check or an alteration changes."""

    probe = models.ForeignKey("probes.Probe", on_delete=models.PROTECT, related_name="spans")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    standing = models.CharField(max_length=12, choices=Standing.choices)
    cause = models.CharField(max_length=24, blank=True)
    behind = models.ForeignKey(Check, on_delete=models.PROTECT, null=True, related_name="+", db_index=False)
    ahead = models.ForeignKey(Check, on_delete=models.PROTECT, null=True, related_name="+", db_index=False)
    doubt = models.ForeignKey(
        Check,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        db_index=False,
        help_text="The failed check away from zero, before or after, that puts it in doubt.",
    )
    anchor = models.CharField(
        max_length=24, blank=True, help_text="What began a run in quarantine: check:12 or event:5."
    )

    class Meta:
        ordering = ["probe", "ends_at"]
        constraints = [models.UniqueConstraint(fields=["probe", "ends_at"], name="span_by_end")]
        indexes = [
            models.Index(fields=["anchor"], name="span_by_anchor", condition=~models.Q(anchor="")),
            models.Index(fields=["standing", "probe"], name="span_by_standing"),
        ]

    def __str__(self):
        return f"{self.probe} {self.standing}"


class ProbeState(models.Model):
    """What the checks say of a probe now. Derived, kept in the transaction of each check and event."""

    probe = models.OneToOneField("probes.Probe", on_delete=models.PROTECT, related_name="state", primary_key=True)
    standing = models.CharField(max_length=12, choices=Standing.choices, default=Standing.UNPROVEN)
    last_check = models.ForeignKey(Check, on_delete=models.PROTECT, null=True, related_name="+", db_index=False)
    last_good_check = models.ForeignKey(Check, on_delete=models.PROTECT, null=True, related_name="+", db_index=False)
    last_good_at = models.DateTimeField(null=True)
    due_at = models.DateTimeField(
        null=True, db_index=True, help_text="When the next check is due; empty while none is asked for."
    )
    due_because = models.CharField(max_length=200, blank=True)
    due_day = models.DateField(
        null=True, help_text="The local day that the plan names for it; empty where it is due at once."
    )
    grace_at = models.DateTimeField(null=True, help_text="When its grace is over.")
    point = models.CharField(
        "point of the scale", max_length=8, choices=Point.choices, default=Point.ZERO, db_default=Point.ZERO
    )
    at_once_because = models.CharField(
        max_length=200, blank=True, help_text="Why a check is asked for at once, if anything asks for one."
    )

    def __str__(self):
        return f"{self.probe} {self.standing}"

    @property
    def away(self) -> bool:
        """Whether the next check is to be one away from zero."""
        return self.point == Point.BOILING
