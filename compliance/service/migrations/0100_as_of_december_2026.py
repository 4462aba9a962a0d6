from django.db import migrations, models


class Migration(migrations.Migration):
    replaces = [('service', '0001_task_runs')]

    dependencies = []

    operations = [
        migrations.CreateModel(
            name='TaskRun',
            fields=[
                ('name', models.CharField(max_length=64, primary_key=True, serialize=False)),
                ('at', models.DateTimeField()),
            ],
        ),
    ]
