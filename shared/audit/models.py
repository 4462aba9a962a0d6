"""The trail: who did what, when, on which record and why. Free of foreign keys, so that history never blocks anything."""

from django.db import models

from shared import clock
from shared.append_only import FactQuerySet, WrittenOnce


class Entry(models.Model):
    """Numbered in the chain of its business: its hash holds the one before, and the records that it made (`chain.py`)."""

    CHAIN = ("business_id", "number", "previous", "house", "facts", "hash")

    written_once = True
    at = models.DateTimeField(default=clock.now)
    actor_id = models.BigIntegerField(null=True, help_text="Empty where the system itself acted.")
    actor = models.CharField(max_length=200, help_text="The name as it was at the time.")
    action = models.CharField(max_length=60)
    subject_type = models.CharField(max_length=60)
    subject_id = models.BigIntegerField()
    subject = models.CharField(max_length=200)
    site_id = models.BigIntegerField(null=True)
    reason = models.TextField(blank=True)
    data = models.JSONField(default=dict)
    business_id = models.BigIntegerField(
        null=True,
        help_text="Whose chain; 0 for what belongs to no business, empty in entries that are older than the chain.",
    )
    number = models.BigIntegerField("place in the chain", null=True)
    previous = models.CharField("hash of the entry before", max_length=64, blank=True, default="", db_default="")
    house = models.BigIntegerField("newest entry that belongs to no business, by its number", null=True)
    facts = models.JSONField("records that it made, with their digests", null=True)
    hash = models.CharField(max_length=64, blank=True, default="", db_default="")

    objects = FactQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(fields=["subject_type", "subject_id"], name="audit_by_subject"),
            models.Index(fields=["site_id", "at"], name="audit_by_site"),
            models.Index(fields=["-at", "-id"], name="audit_newest"),
            models.Index(fields=["business_id", "at"], name="audit_of_business", condition=models.Q(site_id=None)),
        ]
        constraints = [models.UniqueConstraint(fields=["business_id", "number"], name="audit_place_in_chain")]

    def __str__(self):
        return f"{self.action} {self.subject} by {self.actor}"

    def save(self, *args, **kwargs):
        if not self._state.adding:
            raise WrittenOnce("The trail is never changed.")
        super().save(*args, **kwargs)

    def delete(self, *args, **kwargs):
        raise WrittenOnce("The trail is never deleted.")


class HashedColumns(models.Model):
    """Which columns of a table go into the digests that name this code. `migrate` writes those of its version."""

    written_once = True
    code = models.CharField(max_length=16, unique=True)
    table = models.CharField(max_length=80)
    columns = models.JSONField(default=list)

    objects = FactQuerySet.as_manager()

    def __str__(self):
        return f"{self.table} {self.code}"
