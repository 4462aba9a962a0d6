"""Of what the next check is to be is a point of the scale, not a flag."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("checks", "0010_numbers_kept")]

    operations = [
        migrations.AddField(
            model_name='probestate',
            name='point',
            field=models.CharField(choices=[('zero', 'zero point'), ('boiling', 'boiling point')], db_default='zero', default='zero', max_length=8, verbose_name='point of the scale'),
        ),
        migrations.AlterField(
            model_name='probestate',
            name='at_once_because',
            field=models.CharField(blank=True, help_text='Why a check is asked for at once, if anything asks for one.', max_length=200),
        ),
        migrations.AlterField(
            model_name='probestate',
            name='grace_at',
            field=models.DateTimeField(help_text='When its grace is over.', null=True),
        ),
    ]
