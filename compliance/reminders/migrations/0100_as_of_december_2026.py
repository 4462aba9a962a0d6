"""The tables of this app are made with those of plans, as the two name each other. Where there are sites and no rows, as in a
database that is older than plans are, it marks every site, so that rows are laid ahead by the first task of the minute.
"""

from django.db import migrations
from django.utils import timezone


def mark(apps, schema_editor):
    alias, now = schema_editor.connection.alias, timezone.now()
    if apps.get_model("plans", "Reminder").objects.using(alias).exists():
        return
    sites = apps.get_model("sites", "Site").objects.using(alias).order_by("pk").values_list("pk", flat=True)
    unsettled = apps.get_model("plans", "Unsettled")
    marks = [unsettled(site_id=pk, first=now, since=now) for pk in sites]
    unsettled.objects.using(alias).bulk_create(marks, batch_size=1000, ignore_conflicts=True)


class Migration(migrations.Migration):
    dependencies = [("plans", "0100_as_of_december_2026")]

    operations = [migrations.RunPython(mark, migrations.RunPython.noop)]
