"""A row of any model, by filling every required field: for tests that must hold for models yet to come."""

import itertools
import uuid
from datetime import UTC, date, datetime
from decimal import Decimal

from django.db import models

from sites.models import Person

count = itertools.count(1)
PLAIN = {
    models.BooleanField: lambda field: True,
    models.DateTimeField: lambda field: datetime(2026, 3, 1, 9, 0, tzinfo=UTC),
    models.DateField: lambda field: date(2026, 3, 1),
    models.DecimalField: lambda field: Decimal(5),
    models.EmailField: lambda field: f"row{next(count)}@example.test",
    models.UUIDField: lambda field: uuid.uuid4(),
    models.JSONField: lambda field: field.get_default(),
    models.SlugField: lambda field: f"row-{next(count)}",
    models.CharField: lambda field: f"row {next(count)}"[: field.max_length],
    models.TextField: lambda field: f"row {next(count)}",
    models.FloatField: lambda field: 5.0,
    models.IntegerField: lambda field: 5,
}
# Fields that may be empty, of which one must not be.
ONE_OF = {"plans.checkplan": "site", "plans.closure": "site", "plans.reminder": "probe"}


def fill(model, world):
    """One saved row of `model`. Related rows are taken from the world where it has them, and filled otherwise."""
    chosen = ONE_OF.get(model._meta.label_lower)
    fields = model._meta.concrete_fields
    values = {field.name: value(field, world) for field in fields if needed(field) or field.name == chosen}
    return model.objects.create(**values)


def needed(field) -> bool:
    return not (field.primary_key and not field.remote_field) and not field.null and not field.has_default()


def value(field, world):
    if field.is_relation:
        return related(field.related_model, world) if not field.one_to_one else fill(field.related_model, world)
    if field.choices:
        return field.choices[0][0]
    for kind in type(field).__mro__:
        if kind in PLAIN:
            return PLAIN[kind](field)
    raise TypeError(f"{field}: say in tests/rows.py what a {type(field).__name__} is filled with.")


def related(model, world):
    if model is Person:
        return world.manager
    found = next((row for row in vars(world).values() if type(row) is model), None)
    return found or model.objects.first() or fill(model, world)
