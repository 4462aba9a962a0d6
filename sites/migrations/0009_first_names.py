"""Gives everybody the names that they have borne so far, as the trail tells them."""

from collections import defaultdict

from django.db import migrations
from django.utils import timezone

FIELDS = ("name", "initials")


def write_names(apps, schema_editor):
    alias = schema_editor.connection.alias
    people = apps.get_model("sites", "Person").objects.using(alias).values_list("pk", *FIELDS)
    PersonName = apps.get_model("sites", "PersonName")
    known, told, now = {pk for pk, *_ in people}, _told(apps, alias), timezone.now()
    rows = [PersonName(**row) for pk, *present in people for row in _names(pk, present, told[pk], known, now)]
    PersonName.objects.using(alias).bulk_create(rows, batch_size=500)


def _told(apps, alias: str) -> dict[int, list]:
    """The entries about each person that tell of a name, the first first."""
    entries = apps.get_model("audit", "Entry").objects.using(alias).filter(subject_type="sites.person")
    told = defaultdict(list)
    for entry in entries.filter(action__in=("person.add", "person.amend")).order_by("at", "pk"):
        if entry.action == "person.add" or any(field in entry.data.get("changes", {}) for field in FIELDS):
            told[entry.subject_id].append(entry)
    return told


def _names(pk: int, present: list, entries: list, known: set[int], now):
    """Read back from the present: each change says old and new. The first name has no former one."""
    rows, later = [], dict(zip(FIELDS, present, strict=True))
    changes = [entry for entry in entries if entry.action == "person.amend"]
    for entry in reversed(changes):
        former = later | {field: entry.data["changes"][field][0] for field in FIELDS if field in entry.data["changes"]}
        rows.append(_row(pk, later, entry, known) | {f"former_{field}": former[field] for field in FIELDS})
        later = former
    if entries:
        first = _row(pk, later, entries[0], known)
        begun = first if entries[0].action == "person.add" else first | {"recorded_by_id": None, "reason": ""}
    else:
        begun = {"person_id": pk, **later, "recorded_at": now, "recorded_by_id": None}
    return [begun, *reversed(rows)]


def _row(pk: int, names: dict, entry, known: set[int]) -> dict:
    by = entry.actor_id if entry.actor_id in known else None
    return {"person_id": pk, **names, "recorded_at": entry.at, "recorded_by_id": by, "reason": entry.reason}


class Migration(migrations.Migration):
    dependencies = [("sites", "0008_person_names"), ("audit", "0001_initial")]

    operations = [migrations.RunPython(write_names, migrations.RunPython.noop)]
