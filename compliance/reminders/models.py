"""Excuses for what was asked for and not done; and what keeps the schedule honest when several processes, or none, look
after it.
"""

from django.db import models

from compliance.plans.models import Reminder
from shared.append_only import Fact, Void

__all__ = ["Excuse", "ExcuseVoid", "Heartbeat", "Lease", "Reminder"]


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
