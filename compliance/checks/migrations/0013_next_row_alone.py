"""The state of a probe says of what is due the next row alone: all else is in the rows."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("checks", "0012_points_filled")]

    operations = [
        migrations.RemoveField(
            model_name='probestate',
            name='anchor_at',
        ),
        migrations.RemoveField(
            model_name='probestate',
            name='anchor_day',
        ),
        migrations.RemoveField(
            model_name='probestate',
            name='asks_away',
        ),
        migrations.RemoveField(
            model_name='probestate',
            name='at_once_after',
        ),
        migrations.RemoveField(
            model_name='probestate',
            name='at_once_at',
        ),
        migrations.RemoveField(
            model_name='probestate',
            name='at_once_away',
        ),
        migrations.RemoveField(
            model_name='probestate',
            name='every_days',
        ),
        migrations.RemoveField(
            model_name='probestate',
            name='grace_minutes',
        ),
        migrations.RemoveField(
            model_name='probestate',
            name='near_edge',
        ),
        migrations.RemoveField(
            model_name='probestate',
            name='next_day',
        ),
        migrations.RemoveField(
            model_name='probestate',
            name='next_days',
        ),
        migrations.RemoveField(
            model_name='probestate',
            name='next_key',
        ),
        migrations.RemoveField(
            model_name='probestate',
            name='opens_at',
        ),
        migrations.RemoveField(
            model_name='probestate',
            name='plan',
        ),
        migrations.RemoveField(
            model_name='probestate',
            name='settled_at',
        ),
    ]
