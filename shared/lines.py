"""A field of a record that holds one line of text."""

from django.db import models

from .bounds import one_line


class Line(models.CharField):
    """A CharField that refuses line breaks and signs that cannot be seen. Migrations know it as the CharField that it is."""

    default_validators = [one_line]

    def deconstruct(self):
        name, _, args, kwargs = super().deconstruct()
        return name, "django.db.models.CharField", args, kwargs
