"""What people made of the advice on how often to check. The advice itself is derived; only what was accepted is stored."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from shared.append_only import Fact


class Acceptance(Fact):
    """A person set the days between the checks of a probe, knowing what was advised and on which figures."""

    probe = models.ForeignKey("probes.Probe", on_delete=models.PROTECT, related_name="acceptances")
    days_before = models.PositiveSmallIntegerField(validators=[MinValueValidator(1)])
    days_advised = models.PositiveSmallIntegerField(validators=[MinValueValidator(1)])
    days_accepted = models.PositiveSmallIntegerField(validators=[MinValueValidator(1)])
    target = models.PositiveSmallIntegerField(
        "reliability aimed at, in percent", validators=[MinValueValidator(50), MaxValueValidator(99)]
    )
    why = models.TextField("why it differs from the advice", blank=True)
    figures = models.JSONField(default=dict, help_text="What the advice rested on when it was accepted.")

    class Meta:
        ordering = ["probe", "-pk"]
        indexes = [models.Index(fields=["probe", "-recorded_at"], name="acceptance_of_probe")]

    def __str__(self):
        return f"{self.probe}: every {self.days_accepted} days"
