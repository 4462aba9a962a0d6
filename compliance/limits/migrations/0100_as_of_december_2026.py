import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import shared.clock
from shared.squashed import CreateModels


class Migration(migrations.Migration):
    replaces = [('limits', '0001_initial'), ('limits', '0002_written_once')]

    dependencies = [
        ('sites', '0100_as_of_december_2026'),
    ]

    operations = [
        CreateModels(
            limits=[
                migrations.CreateModel(
                    name='RuleSet',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False,
                            verbose_name='ID')),
                        ('code', models.SlugField(unique=True)),
                        ('title', models.CharField(max_length=120)),
                        ('jurisdiction', models.CharField(max_length=120)),
                        ('edition', models.CharField(max_length=60)),
                        ('source', models.TextField()),
                    ],
                    options={
                        'ordering': ['title'],
                    },
                ),
                migrations.CreateModel(
                    name='Rule',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False,
                            verbose_name='ID')),
                        ('code', models.SlugField()),
                        ('step', models.CharField(help_text='The step of the work, such as cold holding.',
                            max_length=80)),
                        ('title', models.CharField(max_length=160)),
                        ('hazard', models.CharField(max_length=160)),
                        ('direction', models.CharField(choices=[('at_most', 'at most'), ('at_least', 'at least')],
                            max_length=8)),
                        ('value', models.DecimalField(decimal_places=2, max_digits=6)),
                        ('unit', models.CharField(choices=[('C', '°C'), ('F', '°F')], max_length=1)),
                        ('value_milli', models.IntegerField()),
                        ('hold_s', models.PositiveIntegerField(blank=True, null=True,
                            verbose_name='hold time in seconds')),
                        ('within_s', models.PositiveIntegerField(blank=True, null=True,
                            verbose_name='to be reached within, in seconds')),
                        ('usual_action', models.TextField()),
                        ('source', models.CharField(max_length=200)),
                        ('origin', models.CharField(choices=[('seen', 'read in the law or official guidance'),
                            ('memory', 'check with your authority'), ('practice', 'common practice, no source')],
                            max_length=8)),
                        ('note', models.TextField(blank=True)),
                        ('position', models.PositiveSmallIntegerField(default=0)),
                        ('rule_set', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT,
                            related_name='rules', to='limits.ruleset')),
                    ],
                    options={
                        'ordering': ['rule_set', 'position', 'code'],
                        'constraints': [models.UniqueConstraint(fields=('rule_set', 'code'), name='rule_code_once')],
                    },
                ),
                migrations.CreateModel(
                    name='Limit',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False,
                            verbose_name='ID')),
                        ('code', models.SlugField(
                            help_text='A short name that files and labels use, such as cold-store.')),
                        ('step', models.CharField(max_length=80)),
                        ('title', models.CharField(max_length=160)),
                        ('hazard', models.CharField(max_length=160)),
                        ('site', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='limits',
                            to='sites.site')),
                        ('rule', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT,
                            related_name='limits', to='limits.rule')),
                    ],
                    options={
                        'ordering': ['site', 'title'],
                        'constraints': [models.UniqueConstraint(fields=('site', 'code'),
                            name='limit_code_once_a_site')],
                    },
                ),
                migrations.CreateModel(
                    name='LimitVersion',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False,
                            verbose_name='ID')),
                        ('recorded_at', models.DateTimeField(default=shared.clock.now, editable=False)),
                        ('effective_from', models.DateTimeField()),
                        ('in_force', models.BooleanField(default=True,
                            help_text='Off: the site no longer works under this limit.')),
                        ('direction', models.CharField(choices=[('at_most', 'at most'), ('at_least', 'at least')],
                            max_length=8)),
                        ('value', models.DecimalField(decimal_places=2, max_digits=6)),
                        ('unit', models.CharField(choices=[('C', '°C'), ('F', '°F')], max_length=1)),
                        ('value_milli', models.IntegerField()),
                        ('hold_s', models.PositiveIntegerField(blank=True, null=True,
                            verbose_name='hold time in seconds')),
                        ('within_s', models.PositiveIntegerField(blank=True, null=True,
                            verbose_name='to be reached within, in seconds')),
                        ('target_milli', models.IntegerField(blank=True, null=True,
                            verbose_name='target inside the limit')),
                        ('usual_action', models.TextField()),
                        ('source', models.CharField(max_length=200)),
                        ('edition', models.CharField(blank=True, max_length=60)),
                        ('origin', models.CharField(choices=[('seen', 'read in the law or official guidance'),
                            ('memory', 'check with your authority'), ('practice', 'common practice, no source')],
                            max_length=8)),
                        ('reason', models.TextField(blank=True,
                            help_text='Why it was set; needed where it is looser than its rule.')),
                        ('limit', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT,
                            related_name='versions', to='limits.limit')),
                        ('recorded_by', models.ForeignKey(db_index=False, editable=False,
                            on_delete=django.db.models.deletion.PROTECT, related_name='+',
                            to=settings.AUTH_USER_MODEL)),
                    ],
                    options={
                        'ordering': ['limit', '-effective_from', '-pk'],
                        'indexes': [models.Index(fields=['limit', '-effective_from', '-id'],
                            name='limit_version_in_force')],
                    },
                ),
            ],
        ),
    ]
