"""Whether the probe of a reading was to be relied on when it was entered.

Written as plain SQL: on SQLite Django would copy the table for it, and lose the triggers that let nobody change a fact.
"""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("readings", "0003_used_despite")]
    operations = [
        migrations.SeparateDatabaseAndState(
            database_operations=[
                migrations.RunSQL(
                    "ALTER TABLE readings_reading ADD COLUMN vouched bool NULL",
                    "ALTER TABLE readings_reading DROP COLUMN vouched",
                )
            ],
            state_operations=[
                migrations.AddField(
                    model_name="reading",
                    name="vouched",
                    field=models.BooleanField(
                        help_text="Whether it had a good check behind it then and no failure, adjustment or repair since, as "
                        "known when this was entered; empty for readings of old.",
                        null=True,
                        verbose_name="the probe was to be relied on",
                    ),
                ),
            ],
        )
    ]
