"""A reading may name what was measured, and a site its own words for what is done where a limit is not met. The column may be
empty: neither engine copies the table, so no guard is lost."""

import django.db.models.deletion
import shared.clock
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('appliances', '0001_initial'),
        ('readings', '0005_import_in_parts'),
        ('sites', '0011_first_settings'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name='reading',
            name='appliance',
            field=models.ForeignKey(blank=True, db_index=False, help_text='What was measured, where it is one of those that the site has named; a round of it is cleared by no other.', null=True, on_delete=django.db.models.deletion.PROTECT, related_name='readings', to='appliances.appliance'),
        ),
        migrations.CreateModel(
            name='OfferedActs',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('recorded_at', models.DateTimeField(default=shared.clock.now, editable=False)),
                ('warm_actions', models.JSONField(default=list, verbose_name='what is done about what was too warm')),
                ('warm_causes', models.JSONField(default=list, verbose_name='why something is too warm')),
                ('cool_actions', models.JSONField(default=list, verbose_name='what is done about what was too cool')),
                ('cool_causes', models.JSONField(default=list, verbose_name='why something is too cool')),
                ('dispositions', models.JSONField(default=list, verbose_name='what becomes of the food')),
                ('recorded_by', models.ForeignKey(db_index=False, editable=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='offered_acts', to='sites.site')),
            ],
            options={
                'abstract': False,
            },
        ),
    ]
