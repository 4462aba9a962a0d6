from django.contrib.auth.hashers import make_password
from django.db import migrations


def end_temporary_passwords(apps, schema_editor):
    """Somebody else knows them, and nobody will be asked for another any more: their owners choose one by a link."""
    for person in apps.get_model("sites", "Person").objects.using(schema_editor.connection.alias).filter(password_temporary=True):
        person.password = make_password(None)
        person.save(update_fields=["password"])


class Migration(migrations.Migration):
    dependencies = [("sites", "0005_opened_again")]

    operations = [migrations.RunPython(end_temporary_passwords, migrations.RunPython.noop)]
