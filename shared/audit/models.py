"""The trail: who did what, when, on which record and why. Free of foreign keys, so that history never blocks anything."""

from django.db import models

from shared import clock
from shared.append_only import FactQuerySet, WrittenOnce


class Entry(models.Model):
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

    objects = FactQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(fields=["subject_type", "subject_id"], name="audit_by_subject"),
            models.Index(fields=["site_id", "at"], name="audit_by_site"),
        ]

    def __str__(self):
        return f"{self.action} {self.subject} by {self.actor}"

    def save(self, *args, **kwargs):
        if not self._state.adding:
            raise WrittenOnce("The trail is never changed.")
        super().save(*args, **kwargs)

    def delete(self, *args, **kwargs):
        raise WrittenOnce("The trail is never deleted.")
