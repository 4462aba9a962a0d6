"""Due times that have come stand beside the plans that make them; their table stays as it is."""

import django.db.models.deletion
from django.db import migrations, models
from django.db.models import Q


class Migration(migrations.Migration):
    dependencies = [
        ("plans", "0002_written_once"),
        ("probes", "0002_written_once"),
        ("reminders", "0003_rounds_lately"),
        ("sites", "0004_holidays"),
    ]

    operations = [
        migrations.AddField("slot", "opens_at", models.DateTimeField(
            help_text="A check after this is for it, and not for the day before.", null=True)),
        migrations.SeparateDatabaseAndState(state_operations=[
            migrations.CreateModel(
                name="Reminder",
                fields=[
                    ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                    ("since_at", models.DateTimeField(
                        help_text="The due time since which nothing was done; its own, if that is the first.")),
                    ("opens_at", models.DateTimeField()),
                    ("due_at", models.DateTimeField()),
                    ("grace_at", models.DateTimeField(help_text="From here on it is overdue.")),
                    ("closes_at", models.DateTimeField(help_text="From here on it is missed.")),
                    ("because", models.CharField(max_length=200)),
                    ("away", models.BooleanField(default=False, verbose_name="asks for a check away from zero")),
                    ("probe", models.ForeignKey(
                        db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT,
                        related_name="reminders", to="probes.probe")),
                    ("round", models.ForeignKey(
                        db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT,
                        related_name="reminders", to="plans.round")),
                    ("site", models.ForeignKey(
                        db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT,
                        related_name="reminders", to="sites.site")),
                ],
                options={
                    "db_table": "reminders_reminder",
                    "ordering": ["due_at", "pk"],
                    "indexes": [
                        models.Index(fields=["site", "due_at"], name="reminder_at_site"),
                        models.Index(fields=["probe", "since_at", "closes_at"], name="reminder_still_open"),
                        models.Index(condition=Q(("round__isnull", False)), fields=["due_at"],
                                     name="reminder_of_round_lately"),
                    ],
                    "constraints": [
                        models.CheckConstraint(
                            condition=Q(Q(("probe__isnull", True), ("round__isnull", False)),
                                        Q(("probe__isnull", False), ("round__isnull", True)), _connector="OR"),
                            name="reminder_of_a_probe_or_a_round"),
                        models.UniqueConstraint(condition=Q(("probe__isnull", False)), fields=("probe", "due_at"),
                                                name="reminder_of_probe_once"),
                        models.UniqueConstraint(condition=Q(("round__isnull", False)), fields=("round", "due_at"),
                                                name="reminder_of_round_once"),
                    ],
                },
            ),
        ]),
    ]
