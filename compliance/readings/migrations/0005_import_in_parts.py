"""A long file of readings comes in piece by piece, each an import that names the first.

Columns that may be empty: neither engine copies the table for them, and so no guard is lost.
"""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("readings", "0004_vouched")]
    operations = [
        migrations.AddField(
            model_name="import",
            name="part_of",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="later_parts",
                to="readings.import",
            ),
        ),
        migrations.AddField(
            model_name="import",
            name="rest_after",
            field=models.PositiveIntegerField(
                help_text="Empty where this reached the end of the file.",
                null=True,
                verbose_name="line after which the rest was to come",
            ),
        ),
    ]
