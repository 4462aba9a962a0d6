"""Of one limit a moment asks for one reading, whichever of its rounds asks; due times of rounds are no longer made beside them."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("plans", "0010_no_slots")]

    operations = [
        migrations.RemoveConstraint("reminder", "reminder_of_round_once"),
        migrations.AddConstraint(
            "reminder",
            models.UniqueConstraint(
                condition=models.Q(("limit__isnull", False), ("recorded_at__isnull", False)),
                fields=("limit", "due_at"),
                name="reminder_of_limit_once",
            ),
        ),
        migrations.AddIndex(
            "reminder",
            models.Index(
                condition=models.Q(("limit__isnull", False)), fields=["limit", "due_at"], name="reminder_of_limit"
            ),
        ),
        migrations.DeleteModel("RoundSlot"),
        migrations.DeleteModel("Horizon"),
    ]
