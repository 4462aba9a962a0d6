"""What a probe was worth when a reading was entered, and why it was used all the same.

Written as plain SQL: on SQLite Django would copy the table for it, and lose the triggers that let nobody change a fact.
"""

from django.db import migrations, models

COLUMNS = {"fitness": "varchar(12)", "used_despite": "varchar(500)"}
FITNESS = [("ok", "OK to use"), ("check_first", "Check first"), ("do_not_use", "Do not use")]


def added(name: str) -> migrations.RunSQL:
    return migrations.RunSQL(
        f"ALTER TABLE readings_reading ADD COLUMN {name} {COLUMNS[name]} DEFAULT '' NOT NULL",
        f"ALTER TABLE readings_reading DROP COLUMN {name}",
    )


class Migration(migrations.Migration):
    dependencies = [("readings", "0002_written_once")]
    operations = [
        migrations.SeparateDatabaseAndState(
            database_operations=[added(name) for name in COLUMNS],
            state_operations=[
                migrations.AddField(
                    model_name="reading",
                    name="fitness",
                    field=models.CharField(
                        blank=True,
                        choices=FITNESS,
                        db_default="",
                        default="",
                        help_text="Whether it might be used when this was taken, as known when it was entered; empty for "
                        "readings from a file and for those of old.",
                        max_length=12,
                        verbose_name="the probe when this was entered",
                    ),
                ),
                migrations.AddField(
                    model_name="reading",
                    name="used_despite",
                    field=models.CharField(
                        blank=True,
                        db_default="",
                        default="",
                        max_length=500,
                        verbose_name="why the probe was used all the same",
                    ),
                ),
            ],
        )
    ]
