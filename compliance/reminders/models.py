"""Excuses for what was asked for and not done."""

from django.db import models

from compliance.plans.models import Reminder
from shared.append_only import Fact, Void

__all__ = ["Excuse", "ExcuseVoid", "Reminder"]


class Excuse(Fact):
    """Why a check or reading that was asked for need not be made. It can be struck out; the last that stands counts."""

    reminder = models.ForeignKey(Reminder, on_delete=models.PROTECT, related_name="excuses")
    reason = models.TextField()

    def __str__(self):
        return self.reason


class ExcuseVoid(Void):
    voids = models.OneToOneField(Excuse, on_delete=models.PROTECT, related_name="void")
    replacement = models.OneToOneField(Excuse, on_delete=models.PROTECT, null=True, blank=True, related_name="corrects")
