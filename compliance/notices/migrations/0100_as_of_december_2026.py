import datetime

import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models

from shared.squashed import CreateModels


class Migration(migrations.Migration):
    replaces = [('notices', '0001_initial'), ('notices', '0002_readings_told'), ('notices', '0003_feed_shows'),
        ('notices', '0004_tries'), ('notices', '0005_checks_told'), ('notices', '0006_passwords_told'), ('notices',
        '0007_claims'), ('notices', '0008_leases_become_claims'), ('notices', '0009_no_leases'), ('notices',
        '0010_looked_at_until'), ('notices', '0011_gone_told')]

    dependencies = [
        ('sites', '0100_as_of_december_2026'),
    ]

    operations = [
        CreateModels(
            notices=[
                migrations.CreateModel(
                    name='QuietHours',
                    fields=[
                        ('person', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True,
                            related_name='quiet_hours', serialize=False, to=settings.AUTH_USER_MODEL)),
                        ('starts', models.TimeField(default=datetime.time(21, 0), verbose_name='from')),
                        ('ends', models.TimeField(default=datetime.time(6, 0), verbose_name='until')),
                    ],
                    options={
                        'verbose_name_plural': 'quiet hours',
                    },
                ),
                migrations.CreateModel(
                    name='FeedKey',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False,
                            verbose_name='ID')),
                        ('digest', models.CharField(max_length=64, unique=True)),
                        ('label', models.CharField(max_length=80, verbose_name='who it is for')),
                        ('made_at', models.DateTimeField(default=django.utils.timezone.now)),
                        ('revoked_at', models.DateTimeField(blank=True, null=True)),
                        ('made_by', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT,
                            related_name='+', to=settings.AUTH_USER_MODEL)),
                        ('revoked_by', models.ForeignKey(blank=True, db_index=False, null=True,
                            on_delete=django.db.models.deletion.PROTECT, related_name='+',
                            to=settings.AUTH_USER_MODEL)),
                        ('site', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT,
                            related_name='feed_keys', to='sites.site')),
                        ('shows', models.CharField(choices=[('both', 'checks and readings'), ('checks',
                            'checks of probes'), ('readings', 'readings of rounds')], default='checks', max_length=8,
                            verbose_name='what it shows')),
                    ],
                    options={
                        'ordering': ['-made_at', '-pk'],
                    },
                ),
                migrations.CreateModel(
                    name='Choice',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False,
                            verbose_name='ID')),
                        ('kind', models.CharField(choices=[('due', 'what is to be checked today'), ('overdue',
                            'a check that is overdue past its grace'), ('unanswered',
                            'an overdue check that still nobody has made'), ('reading',
                            'a reading of a round that is overdue past its grace'), ('no_reading',
                            'an overdue reading that still nobody has taken'), ('failed',
                            'a probe that failed its check'), ('gone',
                            'a probe that is gone: dead, lost or thrown away'), ('digest', 'the week in your area'),
                            ('password', 'your password was set by a link')], max_length=12)),
                        ('by_mail', models.BooleanField()),
                        ('in_page', models.BooleanField()),
                        ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE,
                            related_name='notice_choices', to=settings.AUTH_USER_MODEL)),
                    ],
                    options={
                        'constraints': [models.UniqueConstraint(fields=('person', 'kind'), name='notice_choice_once')],
                    },
                ),
                migrations.CreateModel(
                    name='Notice',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False,
                            verbose_name='ID')),
                        ('kind', models.CharField(choices=[('due', 'what is to be checked today'), ('overdue',
                            'a check that is overdue past its grace'), ('unanswered',
                            'an overdue check that still nobody has made'), ('reading',
                            'a reading of a round that is overdue past its grace'), ('no_reading',
                            'an overdue reading that still nobody has taken'), ('failed',
                            'a probe that failed its check'), ('gone',
                            'a probe that is gone: dead, lost or thrown away'), ('digest', 'the week in your area'),
                            ('password', 'your password was set by a link')], max_length=12)),
                        ('about', models.CharField(help_text='What it is about, and so what is told once.',
                            max_length=100)),
                        ('subject', models.CharField(max_length=200)),
                        ('text', models.TextField()),
                        ('html', models.TextField()),
                        ('link', models.CharField(help_text='Where to do what it asks for, without the host.',
                            max_length=200)),
                        ('probes', models.JSONField(default=list,
                            help_text='[number of a probe, due time] of each check that it asks for.')),
                        ('in_page', models.BooleanField()),
                        ('state', models.CharField(choices=[('waiting', 'waiting to be sent'), ('sent', 'sent'),
                            ('failed', 'not sent'), ('needless', 'no longer needed'), ('page', 'in the pages only')],
                            max_length=8)),
                        ('not_before', models.DateTimeField(help_text='When its mail may be tried; empty: at once.',
                            null=True)),
                        ('attempts', models.PositiveSmallIntegerField(default=0)),
                        ('answered', models.TextField(blank=True, help_text='What the mail server said last.')),
                        ('sent_at', models.DateTimeField(null=True)),
                        ('read_at', models.DateTimeField(null=True)),
                        ('made_at', models.DateTimeField(default=django.utils.timezone.now)),
                        ('area', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT,
                            related_name='notices', to='sites.area')),
                        ('person', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT,
                            related_name='notices', to=settings.AUTH_USER_MODEL)),
                        ('site', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT,
                            related_name='notices', to='sites.site')),
                        ('reminders', models.JSONField(default=list,
                            help_text='The number of each reminder of a round that it asks for.')),
                        ('answered_at', models.DateTimeField(help_text='When it was known last what came of a try.',
                            null=True)),
                        ('unclear_attempts', models.PositiveSmallIntegerField(db_default=0, default=0,
                            help_text='How many of the last attempts on end nobody knows the outcome of.')),
                        ('tried_since', models.DateTimeField(help_text='When its mail was tried first.', null=True)),
                        ('facts', models.JSONField(db_default=models.Value([], models.JSONField()), default=list,
                            help_text='The number of each failed check that it tells of, or of each event by which a probe is gone.')),
                        ('claimed_at', models.DateTimeField(
                            help_text='Since when a sender has it, for a quarter of an hour.', null=True)),
                    ],
                    options={
                        'ordering': ['-made_at', '-pk'],
                        'indexes': [models.Index(fields=['person', '-made_at'], name='notice_of_person'),
                            models.Index(condition=models.Q(('in_page', True), ('read_at', None)), fields=['person'],
                            name='notice_unread'), models.Index(condition=models.Q(('state', 'failed')), fields=['site',
                            '-made_at'], name='notice_undelivered'), models.Index(condition=models.Q(('state', 'sent')),
                            fields=['sent_at'], name='notice_sent'), models.Index(condition=models.Q(('state',
                            'needless')), fields=['made_at'], name='notice_needless'),
                            models.Index(condition=models.Q(('state', 'waiting')), fields=['not_before'],
                            name='notice_unsent')],
                        'constraints': [models.UniqueConstraint(fields=('kind', 'person', 'about'), name='notice_once'),
                            models.CheckConstraint(condition=models.Q(models.Q(('state', 'page'), _negated=True),
                            ('in_page', True), _connector='OR'), name='notice_somewhere')],
                    },
                ),
                migrations.CreateModel(
                    name='Notified',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False,
                            verbose_name='ID')),
                        ('kind', models.CharField(choices=[('due', 'what is to be checked today'), ('overdue',
                            'a check that is overdue past its grace'), ('unanswered',
                            'an overdue check that still nobody has made'), ('reading',
                            'a reading of a round that is overdue past its grace'), ('no_reading',
                            'an overdue reading that still nobody has taken'), ('failed',
                            'a probe that failed its check'), ('gone',
                            'a probe that is gone: dead, lost or thrown away'), ('digest', 'the week in your area'),
                            ('password', 'your password was set by a link')], max_length=12)),
                        ('number', models.BigIntegerField()),
                        ('at', models.DateTimeField()),
                        ('again_at', models.DateTimeField(
                            help_text='When somebody else is told, if it still waits then.', null=True)),
                    ],
                    options={
                        'constraints': [models.UniqueConstraint(fields=('kind', 'number', 'at'),
                            name='notice_mark_once')],
                        'indexes': [models.Index(condition=models.Q(('again_at__isnull', False)), fields=['again_at'],
                            name='notice_again')],
                    },
                ),
                migrations.CreateModel(
                    name='Watermark',
                    fields=[
                        ('kind', models.CharField(choices=[('due', 'what is to be checked today'), ('overdue',
                            'a check that is overdue past its grace'), ('unanswered',
                            'an overdue check that still nobody has made'), ('reading',
                            'a reading of a round that is overdue past its grace'), ('no_reading',
                            'an overdue reading that still nobody has taken'), ('failed',
                            'a probe that failed its check'), ('gone',
                            'a probe that is gone: dead, lost or thrown away'), ('digest', 'the week in your area'),
                            ('password', 'your password was set by a link')], max_length=12, primary_key=True,
                            serialize=False)),
                        ('at', models.DateTimeField()),
                    ],
                ),
            ],
        ),
    ]
