"""The database itself refuses to change or delete these facts."""

from django.db import migrations

from shared.append_only import append_only


class Migration(migrations.Migration):
    dependencies = [("readings", "0001_initial")]
    operations = [append_only("readings_import", "readings_reading", "readings_readingvoid", "readings_deviation", "readings_correctiveaction")]
