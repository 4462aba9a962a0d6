"""Reminders get what rows that lie ahead need, a table of their own name, and the words of the trade."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("limits", "0001_initial"),
        ("plans", "0005_horizon"),
        ("reminders", "0004_due_times_beside_plans"),
    ]

    operations = [
        migrations.AlterModelTable("reminder", None),
        migrations.RenameField("reminder", "lifted_at", "cancelled_at"),
        migrations.RenameField("reminder", "lifted_because", "cancelled_because"),
        migrations.AddField(
            "reminder",
            "limit",
            models.ForeignKey(
                db_constraint=False,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="reminders",
                to="limits.limit",
            ),
        ),
        migrations.AddField(
            "reminder",
            "point",
            models.CharField(
                blank=True,
                choices=[("zero", "zero point"), ("boiling", "boiling point")],
                db_default="",
                max_length=8,
                verbose_name="point of the scale",
            ),
        ),
        migrations.AddField(
            "reminder",
            "day",
            models.DateField(
                help_text="The local day that the plan names; empty where something asks at once.", null=True
            ),
        ),
        migrations.AddField(
            "reminder",
            "recorded_at",
            models.DateTimeField(
                help_text="When it was first written. Empty: before rows lay ahead, and so it stands as it is.", null=True
            ),
        ),
        migrations.AlterField(
            "reminder",
            "since_at",
            models.DateTimeField(
                help_text="The due time since which nothing was done; its own, if that is the first.", null=True
            ),
        ),
    ]
