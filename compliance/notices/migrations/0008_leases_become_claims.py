from django.db import migrations
from django.db.models import F


def claim(apps, schema_editor):
    """Who was sending one when the programs were stopped may have sent it: it waits as long as any that its sender died over."""
    notices = apps.get_model("notices", "Notice").objects.using(schema_editor.connection.alias)
    notices.filter(state="leased").update(state="waiting", claimed_at=F("leased_at"))


def lease(apps, schema_editor):
    notices = apps.get_model("notices", "Notice").objects.using(schema_editor.connection.alias)
    held = notices.filter(state="waiting", claimed_at__isnull=False)
    held.update(state="leased", leased_at=F("claimed_at"), leased_until=F("claimed_at"))


class Migration(migrations.Migration):
    dependencies = [("notices", "0007_claims")]

    operations = [migrations.RunPython(claim, lease)]
