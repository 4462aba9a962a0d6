import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import shared.clock
from shared.squashed import CreateModels


class Migration(migrations.Migration):
    replaces = [('reviews', '0001_initial')]

    dependencies = [
        ('sites', '0100_as_of_december_2026'),
    ]

    operations = [
        CreateModels(
            reviews=[
                migrations.CreateModel(
                    name='Review',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False,
                            verbose_name='ID')),
                        ('recorded_at', models.DateTimeField(default=shared.clock.now, editable=False)),
                        ('first_day', models.DateField()),
                        ('last_day', models.DateField()),
                        ('meaning', models.CharField(choices=[('reviewed', 'Reviewed'), ('sent_back', 'Not accepted')],
                            max_length=12)),
                        ('words', models.CharField(max_length=300, verbose_name='what was signed')),
                        ('remarks', models.TextField(blank=True)),
                        ('rests_on', models.JSONField(default=dict, verbose_name='how many records each day had')),
                        ('entry_number', models.BigIntegerField(default=0, verbose_name='newest entry of the trail')),
                        ('entry_hash', models.CharField(blank=True, max_length=64, verbose_name='and its hash')),
                        ('recorded_by', models.ForeignKey(db_index=False, editable=False,
                            on_delete=django.db.models.deletion.PROTECT, related_name='+',
                            to=settings.AUTH_USER_MODEL)),
                        ('site', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT,
                            related_name='reviews', to='sites.site')),
                    ],
                    options={
                        'ordering': ['site', 'pk'],
                        'indexes': [models.Index(fields=['site', 'last_day'], name='review_of_days')],
                    },
                ),
            ],
        ),
    ]
