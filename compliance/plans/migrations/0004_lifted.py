from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("plans", "0003_due_times_that_have_come"),
        ("reminders", "0004_due_times_beside_plans"),
    ]

    operations = [
        migrations.AddField("reminder", "lifted_at", models.DateTimeField(
            help_text="Since when nothing asks for it any more.", null=True)),
        migrations.AddField("reminder", "lifted_because", models.CharField(blank=True, db_default="", max_length=300)),
    ]
