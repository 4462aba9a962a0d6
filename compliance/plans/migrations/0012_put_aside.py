"""Marks the sites of withdrawn probes: those put aside wait for a check, which the first task of the minute writes down."""

from django.db import migrations
from django.utils import timezone


def mark(apps, schema_editor):
    alias, now = schema_editor.connection.alias, timezone.now()
    withdrawn = apps.get_model("probes", "Probe").objects.using(alias).filter(withdrawn=True)
    unsettled = apps.get_model("plans", "Unsettled")
    marks = [unsettled(site_id=pk, first=now, since=now) for pk in sorted(set(withdrawn.values_list("site", flat=True)))]
    unsettled.objects.using(alias).bulk_create(marks, batch_size=1000, ignore_conflicts=True)


class Migration(migrations.Migration):
    dependencies = [("plans", "0011_rounds_of_limits"), ("probes", "0005_gone")]

    operations = [migrations.RunPython(mark, migrations.RunPython.noop)]
