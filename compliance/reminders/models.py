"""What keeps the schedule honest when several processes, or none, look after it."""

from django.db import models


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
