"""What must hold: rules with their source, and the limits that a site has adopted, version by version."""

from django.db import models

from compliance.metrology import vocabulary
from shared.append_only import Fact
from shared.lines import Line
from shared.units import Unit


class Direction(models.TextChoices):
    AT_MOST = vocabulary.Direction.AT_MOST.value, "at most"
    AT_LEAST = vocabulary.Direction.AT_LEAST.value, "at least"


class Origin(models.TextChoices):
    """How well a rule's figure is known."""

    SEEN = "seen", "read in the law or official guidance"
    MEMORY = "memory", "check with your authority"
    PRACTICE = "practice", "common practice, no source"


class RuleSet(models.Model):
    written_once = True
    code = models.SlugField(unique=True)
    title = Line(max_length=120)
    jurisdiction = Line(max_length=120)
    edition = Line(max_length=60)
    source = models.TextField()

    class Meta:
        ordering = ["title"]

    def __str__(self):
        return f"{self.title}, {self.edition}"


class Rule(models.Model):
    """One critical limit as a law, a code or guidance states it, in its own unit."""

    written_once = True
    rule_set = models.ForeignKey(RuleSet, on_delete=models.PROTECT, related_name="rules")
    code = models.SlugField()
    step = Line(max_length=80, help_text="The step of the work, such as cold holding.")
    title = Line(max_length=160)
    hazard = Line(max_length=160)
    direction = models.CharField(max_length=8, choices=Direction.choices)
    value = models.DecimalField(max_digits=6, decimal_places=2)
    unit = models.CharField(max_length=1, choices=Unit.choices)
    value_milli = models.IntegerField()
    hold_s = models.PositiveIntegerField("hold time in seconds", null=True, blank=True)
    within_s = models.PositiveIntegerField("to be reached within, in seconds", null=True, blank=True)
    usual_action = models.TextField()
    source = Line(max_length=200)
    origin = models.CharField(max_length=8, choices=Origin.choices)
    note = models.TextField(blank=True)
    position = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["rule_set", "position", "code"]
        constraints = [models.UniqueConstraint(fields=["rule_set", "code"], name="rule_code_once")]

    def __str__(self):
        return self.title


class Limit(models.Model):
    """A critical limit of one site; what it demands is in its versions."""

    site = models.ForeignKey("sites.Site", on_delete=models.PROTECT, related_name="limits")
    rule = models.ForeignKey(Rule, on_delete=models.PROTECT, null=True, blank=True, related_name="limits")
    code = models.SlugField(help_text="A short name that files and labels use, such as cold-store.")
    step = Line(max_length=80)
    title = Line(max_length=160)
    hazard = Line(max_length=160)

    class Meta:
        ordering = ["site", "title"]
        constraints = [models.UniqueConstraint(fields=["site", "code"], name="limit_code_once_a_site")]

    def __str__(self):
        return self.title


class LimitVersion(Fact):
    """What a limit demands from a moment on, until the next version. The last one recorded for a moment wins."""

    limit = models.ForeignKey(Limit, on_delete=models.PROTECT, related_name="versions")
    effective_from = models.DateTimeField()
    in_force = models.BooleanField(default=True, help_text="Off: the site no longer works under this limit.")
    direction = models.CharField(max_length=8, choices=Direction.choices)
    value = models.DecimalField(max_digits=6, decimal_places=2)
    unit = models.CharField(max_length=1, choices=Unit.choices)
    value_milli = models.IntegerField()
    hold_s = models.PositiveIntegerField("hold time in seconds", null=True, blank=True)
    within_s = models.PositiveIntegerField("to be reached within, in seconds", null=True, blank=True)
    target_milli = models.IntegerField("target inside the limit", null=True, blank=True)
    usual_action = models.TextField()
    source = models.CharField(max_length=200)
    edition = models.CharField(max_length=60, blank=True)
    origin = models.CharField(max_length=8, choices=Origin.choices)
    reason = models.TextField(blank=True, help_text="Why it was set; needed where it is looser than its rule.")

    class Meta:
        ordering = ["limit", "-effective_from", "-pk"]
        indexes = [models.Index(fields=["limit", "-effective_from", "-id"], name="limit_version_in_force")]

    def __str__(self):
        return f"{self.limit}: {self.get_direction_display()} {self.value.normalize():f} {self.get_unit_display()}"

    def breached_by(self, value_milli: int) -> bool:
        """Whether a reading in milli-degrees Celsius lies beyond the limit; at the limit is within it."""
        if self.direction == Direction.AT_MOST:
            return value_milli > self.value_milli
        return value_milli < self.value_milli
