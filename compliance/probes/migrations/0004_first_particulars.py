"""Writes what was known of each probe so far, as its row and the trail tell it."""

from django.db import migrations

from sites.migrations._from_the_trail import Trail, reader, write

COLUMNS = ("code", "description", "sensor", "resolution_milli", "tolerance_milli", "lowest_milli", "highest_milli",
           "time_constant_s", "stem_diameter_mm", "maker", "model", "serial")


def write_particulars(apps, schema_editor):
    alias = schema_editor.connection.alias
    model, fact = apps.get_model("probes", "Probe"), apps.get_model("probes", "ProbeParticulars")
    trail, read = Trail(apps, alias, "probes.probe", "probe.register", "probe.amend"), reader(model, COLUMNS)
    rows = model.objects.using(alias).order_by("pk").values("pk", *COLUMNS)
    told = ((row.pop("pk"), row) for row in rows.iterator())
    write(model, fact, "probe", ((pk, trail.facts(pk, row, read)) for pk, row in told), COLUMNS, alias)


class Migration(migrations.Migration):
    dependencies = [("probes", "0003_dated_particulars"), ("sites", "0011_first_settings")]

    operations = [migrations.RunPython(write_particulars, migrations.RunPython.noop)]
