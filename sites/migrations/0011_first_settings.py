"""Writes what was set for each site and business so far, as their rows and the trail tell it."""

from django.db import migrations

from ._from_the_trail import Trail, reader, write

SITE = ("area_id", "name", "address", "time_zone", "unit", "altitude_m", "country", "subdivision", "closed_on_holidays",
        "closed")
BUSINESS = ("name", "decision_rule", "reliability_target")


def write_settings(apps, schema_editor):
    alias = schema_editor.connection.alias
    _businesses(apps, alias)
    _sites(apps, alias)


def _businesses(apps, alias: str) -> None:
    model, fact = apps.get_model("sites", "Business"), apps.get_model("sites", "BusinessRules")
    trail, read = Trail(apps, alias, "sites.business", "business.add", "business.amend"), reader(model, BUSINESS)
    rows = model.objects.using(alias).order_by("pk").values("pk", *BUSINESS)
    told = ((row.pop("pk"), row) for row in rows.iterator())
    write(model, fact, "business", ((pk, trail.facts(pk, row, read)) for pk, row in told), BUSINESS, alias)


def _sites(apps, alias: str) -> None:
    """An area that has had another name since is taken to be the one of now."""
    model, fact = apps.get_model("sites", "Site"), apps.get_model("sites", "SiteSettings")
    trail, plain = Trail(apps, alias, "sites.site", "site.add", "site.amend"), reader(model, SITE)
    areas = apps.get_model("sites", "Area").objects.using(alias).values_list("business_id", "name", "pk")
    by_name = {(business, name): pk for business, name, pk in areas}

    def told(row: dict):
        business = row.pop("area__business_id")

        def read(name: str, text: str):
            if name == "area" and (business, text) in by_name:
                yield "area_id", by_name[business, text]
            yield from plain(name, text)

        pk = row.pop("pk")
        return pk, trail.facts(pk, row, read)

    rows = model.objects.using(alias).order_by("pk").values("pk", "area__business_id", *SITE)
    write(model, fact, "site", map(told, rows.iterator()), SITE, alias)


class Migration(migrations.Migration):
    dependencies = [("sites", "0010_dated_settings"), ("audit", "0001_initial")]

    operations = [migrations.RunPython(write_settings, migrations.RunPython.noop)]
