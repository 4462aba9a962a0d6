from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("notices", "0006_passwords_told")]

    operations = [
        migrations.RenameModel("Mark", "Notified"),
        migrations.RenameField("notice", "cut_short", "unclear_attempts"),
        migrations.AddField("notice", "claimed_at", models.DateTimeField(
            help_text="Since when a sender has it, for a quarter of an hour.", null=True
        )),
    ]
