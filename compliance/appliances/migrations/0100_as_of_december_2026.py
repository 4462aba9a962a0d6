import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import shared.clock
from shared.squashed import CreateModels


class Migration(migrations.Migration):
    replaces = [('appliances', '0001_initial')]

    dependencies = [
        ('limits', '0100_as_of_december_2026'),
        ('sites', '0100_as_of_december_2026'),
    ]

    operations = [
        CreateModels(
            appliances=[
                migrations.CreateModel(
                    name='Appliance',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False,
                            verbose_name='ID')),
                        ('former', models.JSONField(default=list, editable=False,
                            help_text='What was set before and until when, the first first; made from the facts.')),
                        ('name', models.CharField(max_length=60)),
                        ('place', models.CharField(blank=True, max_length=80, verbose_name='where it stands')),
                        ('retired', models.BooleanField(default=False, verbose_name='no longer measured')),
                        ('limit', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT,
                            related_name='appliances', to='limits.limit')),
                        ('site', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT,
                            related_name='appliances', to='sites.site')),
                    ],
                    options={
                        'ordering': ['name', 'pk'],
                    },
                ),
                migrations.CreateModel(
                    name='ApplianceSettings',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False,
                            verbose_name='ID')),
                        ('recorded_at', models.DateTimeField(default=shared.clock.now, editable=False)),
                        ('corrects', models.BooleanField(default=False)),
                        ('reason', models.TextField(blank=True)),
                        ('name', models.CharField(max_length=60)),
                        ('place', models.CharField(blank=True, max_length=80, verbose_name='where it stands')),
                        ('retired', models.BooleanField(default=False, verbose_name='no longer measured')),
                        ('appliance', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT,
                            related_name='settings_facts', to='appliances.appliance')),
                        ('recorded_by', models.ForeignKey(db_index=False, editable=False,
                            help_text='Empty where whoever runs the machine wrote it.', null=True,
                            on_delete=django.db.models.deletion.PROTECT, related_name='+',
                            to=settings.AUTH_USER_MODEL)),
                    ],
                ),
                migrations.CreateModel(
                    name='OutOfUse',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False,
                            verbose_name='ID')),
                        ('recorded_at', models.DateTimeField(default=shared.clock.now, editable=False)),
                        ('starts_at', models.DateTimeField()),
                        ('ends_at', models.DateTimeField(blank=True, null=True)),
                        ('why', models.CharField(choices=[('defrosting', 'defrosting'), ('empty', 'empty'), ('broken',
                            'broken'), ('cleaned', 'being cleaned'), ('off', 'switched off')], max_length=12)),
                        ('note', models.CharField(blank=True, max_length=120)),
                        ('appliance', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT,
                            related_name='times_out_of_use', to='appliances.appliance')),
                        ('recorded_by', models.ForeignKey(db_index=False, editable=False,
                            on_delete=django.db.models.deletion.PROTECT, related_name='+',
                            to=settings.AUTH_USER_MODEL)),
                    ],
                    options={
                        'ordering': ['appliance', 'starts_at', 'pk'],
                        'constraints': [models.CheckConstraint(condition=models.Q(('ends_at__isnull', True),
                            ('ends_at__gt', models.F('starts_at')), _connector='OR'),
                            name='out_of_use_ends_after_it_begins')],
                    },
                ),
                migrations.CreateModel(
                    name='BackInUse',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False,
                            verbose_name='ID')),
                        ('recorded_at', models.DateTimeField(default=shared.clock.now, editable=False)),
                        ('recorded_by', models.ForeignKey(db_index=False, editable=False,
                            on_delete=django.db.models.deletion.PROTECT, related_name='+',
                            to=settings.AUTH_USER_MODEL)),
                        ('ends', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='back',
                            to='appliances.outofuse')),
                    ],
                ),
                migrations.CreateModel(
                    name='OutOfUseVoid',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False,
                            verbose_name='ID')),
                        ('recorded_at', models.DateTimeField(default=shared.clock.now, editable=False)),
                        ('reason', models.TextField()),
                        ('recorded_by', models.ForeignKey(db_index=False, editable=False,
                            on_delete=django.db.models.deletion.PROTECT, related_name='+',
                            to=settings.AUTH_USER_MODEL)),
                        ('voids', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='void',
                            to='appliances.outofuse')),
                    ],
                ),
            ],
        ),
    ]
