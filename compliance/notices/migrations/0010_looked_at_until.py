"""Up to when it was looked for what is late, and when others are told of it."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('notices', '0009_no_leases'),
    ]

    operations = [
        migrations.CreateModel(
            name='Watermark',
            fields=[
                ('kind', models.CharField(choices=[('due', 'what is to be checked today'), ('overdue', 'a check that is overdue past its grace'), ('unanswered', 'an overdue check that still nobody has made'), ('reading', 'a reading of a round that is overdue past its grace'), ('no_reading', 'an overdue reading that still nobody has taken'), ('failed', 'a probe that failed its check'), ('digest', 'the week in your area'), ('password', 'your password was set by a link')], max_length=12, primary_key=True, serialize=False)),
                ('at', models.DateTimeField()),
            ],
        ),
        migrations.AddField(
            model_name='notified',
            name='again_at',
            field=models.DateTimeField(help_text='When somebody else is told, if it still waits then.', null=True),
        ),
        migrations.AddIndex(
            model_name='notified',
            index=models.Index(condition=models.Q(('again_at__isnull', False)), fields=['again_at'], name='notice_again'),
        ),
    ]
