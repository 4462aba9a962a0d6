"""Reminders say from when on people are told that they are late; sites, whether their rows follow what was set."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("plans", "0007_points_and_limits"), ("sites", "0009_first_names")]

    operations = [
        migrations.CreateModel(
            name='Unsettled',
            fields=[
                ('site', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True, related_name='unsettled', serialize=False, to='sites.site')),
                ('first', models.DateTimeField(help_text='When the first of what they do not follow yet was set.')),
                ('since', models.DateTimeField(help_text='When the last of it was set.')),
            ],
        ),
        migrations.AddField(
            model_name='reminder',
            name='late_at',
            field=models.DateTimeField(help_text='From here on people are told that it is late.', null=True),
        ),
        migrations.AddIndex(
            model_name='reminder',
            index=models.Index(fields=['late_at'], name='reminder_late'),
        ),
    ]
