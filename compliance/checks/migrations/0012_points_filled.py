"""Fills in of which point of the scale each probe is to be checked next."""

from django.db import migrations


def fill(apps, schema_editor):
    states = apps.get_model("checks", "ProbeState").objects.using(schema_editor.connection.alias)
    states.filter(asks_away=True).update(point="boiling")


class Migration(migrations.Migration):
    dependencies = [("checks", "0011_point_of_the_scale")]

    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]
