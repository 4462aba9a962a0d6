"""The database itself refuses to change or delete these facts."""

from django.db import migrations

from shared.append_only import append_only


class Migration(migrations.Migration):
    dependencies = [("plans", "0001_initial")]
    operations = [append_only("plans_checkplan", "plans_round", "plans_opening", "plans_closure", "plans_closurevoid")]
