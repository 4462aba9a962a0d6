from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("notices", "0003_feed_shows")]

    operations = [
        migrations.AddField("notice", "answered_at", models.DateTimeField(
            help_text="When it was known last what came of a try.", null=True
        )),
        migrations.AddField("notice", "cut_short", models.PositiveSmallIntegerField(
            db_default=0, default=0, help_text="How many of the last tries on end nobody knows the end of."
        )),
        migrations.AddField("notice", "tried_since", models.DateTimeField(
            help_text="When its mail was tried first.", null=True
        )),
        migrations.AddIndex("notice", models.Index(
            condition=models.Q(("state", "sent")), fields=["sent_at"], name="notice_sent"
        )),
    ]
