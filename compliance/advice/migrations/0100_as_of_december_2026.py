import django.core.validators
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import shared.clock
from shared.squashed import CreateModels


class Migration(migrations.Migration):
    replaces = [('advice', '0001_initial'), ('advice', '0002_written_once')]

    dependencies = [
        ('probes', '0100_as_of_december_2026'),
        ('sites', '0100_as_of_december_2026'),
    ]

    operations = [
        CreateModels(
            advice=[
                migrations.CreateModel(
                    name='Acceptance',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False,
                            verbose_name='ID')),
                        ('recorded_at', models.DateTimeField(default=shared.clock.now, editable=False)),
                        ('days_before', models.PositiveSmallIntegerField(validators=[
                            django.core.validators.MinValueValidator(1)])),
                        ('days_advised', models.PositiveSmallIntegerField(validators=[
                            django.core.validators.MinValueValidator(1)])),
                        ('days_accepted',
                            models.PositiveSmallIntegerField(validators=[django.core.validators.MinValueValidator(1)])),
                        ('target', models.PositiveSmallIntegerField(validators=[
                            django.core.validators.MinValueValidator(50), django.core.validators.MaxValueValidator(99)],
                            verbose_name='reliability aimed at, in percent')),
                        ('why', models.TextField(blank=True, verbose_name='why it differs from the advice')),
                        ('figures', models.JSONField(default=dict,
                            help_text='What the advice rested on when it was accepted.')),
                        ('probe', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT,
                            related_name='acceptances', to='probes.probe')),
                        ('recorded_by', models.ForeignKey(db_index=False, editable=False,
                            on_delete=django.db.models.deletion.PROTECT, related_name='+',
                            to=settings.AUTH_USER_MODEL)),
                    ],
                    options={
                        'ordering': ['probe', '-pk'],
                        'indexes': [models.Index(fields=['probe', '-recorded_at'], name='acceptance_of_probe')],
                    },
                ),
            ],
        ),
    ]
