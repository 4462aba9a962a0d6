from django.db import migrations, models
from django.db.models import Q

STATES = [
    ("waiting", "waiting to be sent"),
    ("sent", "sent"),
    ("failed", "not sent"),
    ("needless", "no longer needed"),
    ("page", "in the pages only"),
]


class Migration(migrations.Migration):
    dependencies = [("notices", "0008_leases_become_claims")]

    operations = [
        migrations.RemoveIndex("notice", "notice_unsent"),
        migrations.RemoveField("notice", "holder"),
        migrations.RemoveField("notice", "leased_at"),
        migrations.RemoveField("notice", "leased_until"),
        migrations.AlterField("notice", "state", models.CharField(choices=STATES, max_length=8)),
        migrations.AlterField("notice", "unclear_attempts", models.PositiveSmallIntegerField(
            db_default=0, default=0, help_text="How many of the last attempts on end nobody knows the outcome of."
        )),
        migrations.AddIndex("notice", models.Index(condition=Q(state="waiting"), fields=["not_before"], name="notice_unsent")),
    ]
