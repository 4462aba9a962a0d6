"""A reading may name what was measured. Empty for those of before: neither engine copies the table, so no guard is lost."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('appliances', '0001_initial'),
        ('readings', '0005_import_in_parts'),
    ]

    operations = [
        migrations.AddField(
            model_name='reading',
            name='appliance',
            field=models.ForeignKey(blank=True, db_index=False, help_text='What was measured, where it is one of those that the site has named; a round of it is cleared by no other.', null=True, on_delete=django.db.models.deletion.PROTECT, related_name='readings', to='appliances.appliance'),
        ),
    ]
