from django.db import migrations, models

import shared.clock


class Migration(migrations.Migration):
    replaces = [('audit', '0001_initial'), ('audit', '0002_written_once'), ('audit', '0003_the_chain'), ('audit',
        '0004_entries_of_a_business')]

    dependencies = []

    operations = [
        migrations.CreateModel(
            name='Entry',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('at', models.DateTimeField(default=shared.clock.now)),
                ('actor_id', models.BigIntegerField(help_text='Empty where the system itself acted.', null=True)),
                ('actor', models.CharField(help_text='The name as it was at the time.', max_length=200)),
                ('action', models.CharField(max_length=60)),
                ('subject_type', models.CharField(max_length=60)),
                ('subject_id', models.BigIntegerField()),
                ('subject', models.CharField(max_length=200)),
                ('site_id', models.BigIntegerField(null=True)),
                ('reason', models.TextField(blank=True)),
                ('data', models.JSONField(default=dict)),
                ('business_id', models.BigIntegerField(
                    help_text='Whose chain; 0 for what belongs to no business, empty in entries that are older than the chain.',
                    null=True)),
                ('facts', models.JSONField(null=True, verbose_name='records that it made, with their digests')),
                ('hash', models.CharField(blank=True, db_default='', default='', max_length=64)),
                ('house', models.BigIntegerField(null=True,
                    verbose_name='newest entry that belongs to no business, by its number')),
                ('number', models.BigIntegerField(null=True, verbose_name='place in the chain')),
                ('previous', models.CharField(blank=True, db_default='', default='', max_length=64,
                    verbose_name='hash of the entry before')),
            ],
            options={
                'indexes': [models.Index(fields=['subject_type', 'subject_id'], name='audit_by_subject'),
                    models.Index(fields=['site_id', 'at'], name='audit_by_site'), models.Index(fields=['-at', '-id'],
                    name='audit_newest'), models.Index(condition=models.Q(('site_id', None)), fields=['business_id',
                    'at'], name='audit_of_business')],
                'constraints': [models.UniqueConstraint(fields=('business_id', 'number'), name='audit_place_in_chain')],
            },
        ),
        migrations.CreateModel(
            name='HashedColumns',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.CharField(max_length=16, unique=True)),
                ('table', models.CharField(max_length=80)),
                ('columns', models.JSONField(default=list)),
            ],
        ),
    ]
