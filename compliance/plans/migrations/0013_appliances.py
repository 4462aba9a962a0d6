"""Where a limit has appliances, rounds ask for a reading of each. Rows of before name none and stand as they are."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('appliances', '0001_initial'),
        ('limits', '0002_written_once'),
        ('plans', '0012_put_aside'),
        ('probes', '0005_gone'),
        ('sites', '0011_first_settings'),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name='reminder',
            name='reminder_of_limit_once',
        ),
        migrations.RemoveIndex(
            model_name='reminder',
            name='reminder_of_limit',
        ),
        migrations.AddField(
            model_name='reminder',
            name='appliance',
            field=models.ForeignKey(db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='reminders', to='appliances.appliance'),
        ),
        migrations.AddIndex(
            model_name='reminder',
            index=models.Index(condition=models.Q(('appliance__isnull', True), ('limit__isnull', False)), fields=['limit', 'due_at'], name='reminder_of_limit'),
        ),
        migrations.AddConstraint(
            model_name='reminder',
            constraint=models.UniqueConstraint(condition=models.Q(('appliance__isnull', True), ('limit__isnull', False), ('recorded_at__isnull', False)), fields=('limit', 'due_at'), name='reminder_of_limit_once'),
        ),
        migrations.AddConstraint(
            model_name='reminder',
            constraint=models.UniqueConstraint(condition=models.Q(('appliance__isnull', False)), fields=('appliance', 'due_at'), name='reminder_of_appliance_once'),
        ),
    ]
