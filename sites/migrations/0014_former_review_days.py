"""What was set of a business before says also in how many working days a day was to be reviewed, as its facts do."""

from django.db import migrations


def fill(apps, schema_editor):
    businesses = apps.get_model("sites", "Business").objects.using(schema_editor.connection.alias)
    for business in businesses.exclude(former=[]):
        business.former = [{"review_days": 7, **each} for each in business.former]
        business.save(update_fields=["former"])


class Migration(migrations.Migration):
    dependencies = [("sites", "0013_review_days")]
    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]
