from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("sites", "0004_holidays")]

    operations = [
        migrations.AddField(
            model_name="site",
            name="reopened_at",
            field=models.DateTimeField(
                editable=False, help_text="When it was last opened again after it was closed for good.", null=True
            ),
        )
    ]
