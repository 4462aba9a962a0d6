import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import shared.clock
from shared.squashed import CreateModels


class Migration(migrations.Migration):
    replaces = [('quarantine', '0001_initial'), ('quarantine', '0002_written_once'), ('quarantine',
        '0003_grounds_of_decisions'), ('quarantine', '0004_within_what_checks_allow')]

    dependencies = [
        ('checks', '0100_as_of_december_2026'),
        ('probes', '0100_as_of_december_2026'),
        ('readings', '0100_as_of_december_2026'),
        ('sites', '0100_as_of_december_2026'),
    ]

    operations = [
        CreateModels(
            quarantine=[
                migrations.CreateModel(
                    name='Signature',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False,
                            verbose_name='ID')),
                        ('recorded_at', models.DateTimeField(default=shared.clock.now, editable=False)),
                        ('case', models.CharField(db_index=True, max_length=24)),
                        ('starts_at', models.DateTimeField()),
                        ('ends_at', models.DateTimeField()),
                        ('readings', models.PositiveIntegerField()),
                        ('counts', models.JSONField(default=dict,
                            help_text='Readings by decision at the time of signing.')),
                        ('signed_name', models.CharField(max_length=120)),
                        ('meaning', models.CharField(max_length=200)),
                        ('note', models.TextField(blank=True)),
                        ('probe', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT,
                            related_name='signatures', to='probes.probe')),
                        ('recorded_by', models.ForeignKey(db_index=False, editable=False,
                            on_delete=django.db.models.deletion.PROTECT, related_name='+',
                            to=settings.AUTH_USER_MODEL)),
                        ('signed_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+',
                            to=settings.AUTH_USER_MODEL)),
                    ],
                    options={
                        'ordering': ['case', 'pk'],
                    },
                ),
                migrations.CreateModel(
                    name='Decision',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False,
                            verbose_name='ID')),
                        ('recorded_at', models.DateTimeField(default=shared.clock.now, editable=False)),
                        ('case', models.CharField(db_index=True,
                            help_text='The anchor of the run: check:12 or event:5.', max_length=24)),
                        ('fate', models.CharField(choices=[('stands',
                            'Stands: the limit held within what its checks allow'), ('measured_again',
                            'Measured again with a probe in tolerance'), ('reworked', 'Cooked on or reheated'),
                            ('discarded', 'Discarded'), ('eaten', 'Already eaten'), ('released',
                            'Released on other evidence')], max_length=16)),
                        ('outcome', models.CharField(help_text='What the assessment said when it was decided.',
                            max_length=12)),
                        ('why', models.TextField()),
                        ('risk', models.TextField(blank=True, verbose_name='assessment of the risk')),
                        ('told', models.TextField(blank=True, verbose_name='who was told')),
                        ('evidence', models.TextField(blank=True)),
                        ('decided_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+',
                            to=settings.AUTH_USER_MODEL)),
                        ('good_reading', models.ForeignKey(blank=True, null=True,
                            on_delete=django.db.models.deletion.PROTECT, related_name='+', to='readings.reading')),
                        ('probe', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT,
                            related_name='decisions', to='probes.probe')),
                        ('reading', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT,
                            related_name='decisions', to='readings.reading')),
                        ('recorded_by', models.ForeignKey(db_index=False, editable=False,
                            on_delete=django.db.models.deletion.PROTECT, related_name='+',
                            to=settings.AUTH_USER_MODEL)),
                        ('replaces', models.OneToOneField(blank=True, null=True,
                            on_delete=django.db.models.deletion.PROTECT, related_name='replaced_by',
                            to='quarantine.decision')),
                        ('ahead', models.ForeignKey(db_index=False, null=True,
                            on_delete=django.db.models.deletion.PROTECT, related_name='+', to='checks.check')),
                        ('behind', models.ForeignKey(db_index=False,
                            help_text='The check before the reading, by which the outcome was found.', null=True,
                            on_delete=django.db.models.deletion.PROTECT, related_name='+', to='checks.check')),
                        ('doubt', models.ForeignKey(db_index=False, null=True,
                            on_delete=django.db.models.deletion.PROTECT, related_name='+', to='checks.check')),
                        ('good_standing',
                            models.CharField(
                            help_text='The standing of the reading measured again when it was decided.', max_length=12,
                            null=True)),
                        ('sensor', models.CharField(
                            help_text='The kind of sensor by which the outcome was found; empty: not kept yet.',
                            max_length=20, null=True)),
                    ],
                    options={
                        'ordering': ['reading', 'pk'],
                        'constraints': [models.UniqueConstraint(condition=models.Q(('replaces__isnull', True)),
                            fields=('reading',), name='first_decision_once')],
                    },
                ),
            ],
        ),
    ]
