"""Fills in which point of the scale each reminder asks for, and which limit."""

from django.db import migrations
from django.db.models import OuterRef, Subquery


def fill(apps, schema_editor):
    alias = schema_editor.connection.alias
    reminders = apps.get_model("plans", "Reminder").objects.using(alias)
    rounds = apps.get_model("plans", "Round").objects.using(alias).filter(pk=OuterRef("round"))
    reminders.filter(probe__isnull=False, away=False).update(point="zero")
    reminders.filter(probe__isnull=False, away=True).update(point="boiling")
    reminders.filter(round__isnull=False).update(limit=Subquery(rounds.values("limit")[:1]))


class Migration(migrations.Migration):
    dependencies = [("plans", "0006_rows_ahead")]

    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]
