"""Due times of checks lie ahead as rows: their slots go, and what only the writing down of due times asked for."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("plans", "0009_first_derivation")]

    operations = [
        migrations.RemoveConstraint(
            model_name='reminder',
            name='reminder_of_probe_once',
        ),
        migrations.RemoveIndex(
            model_name='reminder',
            name='reminder_still_open',
        ),
        migrations.RemoveField(
            model_name='reminder',
            name='away',
        ),
        migrations.RemoveField(
            model_name='reminder',
            name='since_at',
        ),
        migrations.AddConstraint(
            model_name='reminder',
            constraint=models.UniqueConstraint(condition=models.Q(('probe__isnull', False)), fields=('probe', 'due_at', 'point'), name='reminder_of_point_once'),
        ),
        migrations.DeleteModel(
            name='Slot',
        ),
    ]
