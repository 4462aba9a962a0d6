"""Marks every site, so that its rows are laid ahead by the first task of the minute; what is stored by now stands as it is."""

from django.db import migrations
from django.db.models import F
from django.utils import timezone


def mark(apps, schema_editor):
    alias = schema_editor.connection.alias
    apps.get_model("plans", "Reminder").objects.using(alias).update(late_at=F("grace_at"))
    sites = apps.get_model("sites", "Site").objects.using(alias).order_by("pk").values_list("pk", flat=True)
    unsettled, now = apps.get_model("plans", "Unsettled"), timezone.now()
    marks = [unsettled(site_id=pk, first=now, since=now) for pk in sites]
    unsettled.objects.using(alias).bulk_create(marks, batch_size=1000)


class Migration(migrations.Migration):
    dependencies = [("plans", "0008_late_and_unsettled")]

    operations = [migrations.RunPython(mark, migrations.RunPython.noop)]
