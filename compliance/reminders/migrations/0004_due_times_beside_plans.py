"""Due times that have come stand beside the plans that make them; excuses still name them, in the same table."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("plans", "0003_due_times_that_have_come"),
        ("reminders", "0003_rounds_lately"),
    ]

    operations = [
        migrations.SeparateDatabaseAndState(state_operations=[
            migrations.AlterField("excuse", "reminder", models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="excuses", to="plans.reminder")),
            migrations.DeleteModel("Reminder"),
        ]),
    ]
