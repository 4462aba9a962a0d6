"""The database itself refuses to change or delete these facts."""

from django.db import migrations

from shared.append_only import append_only


class Migration(migrations.Migration):
    dependencies = [("audit", "0001_initial")]
    operations = [append_only("audit_entry")]
