from django.db import models


class TaskRun(models.Model):
    """When a task of the schedule last did all that it had to do; and when the health page last wrote."""

    name = models.CharField(max_length=64, primary_key=True)
    at = models.DateTimeField()

    def __str__(self):
        return self.name
