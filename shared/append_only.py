"""Facts: records that are written once. A correction is a new fact; a void says why the old one no longer counts.

The database itself refuses to change or delete them: `guards.py`.
"""

from django.conf import settings
from django.db import migrations, models

from shared import clock


class WrittenOnce(Exception):
    """A fact was about to be changed or deleted."""


def is_live(fact: type[models.Model], key: str = "pk") -> models.Q:
    """Condition of a query: no void strikes out the fact that `key` leads to.

    NOT EXISTS: where a left join is to find nothing PostgreSQL expects one row, and loops over the rest of the query.
    """
    voids = fact._meta.get_field("void").related_model.objects
    return models.Q(~models.Exists(voids.filter(voids=models.OuterRef(key))))


class FactQuerySet(models.QuerySet):
    def bulk_create(self, objs, **kwargs):
        """As saved one by one: the trail is told of each."""
        made = super().bulk_create(objs, **kwargs)
        for fact in made:
            models.signals.post_save.send(self.model, instance=fact, created=True, raw=False, using=self.db)
        return made

    def live(self, fact: str = "") -> "FactQuerySet":
        """Those that no void strikes out; given the name of a fact that they refer to, those whose fact none strikes out."""
        struck = self.model._meta.get_field(fact).related_model if fact else self.model
        return self.filter(is_live(struck, fact or "pk"))

    def current(self) -> "FactQuerySet":
        """Of facts that may name one that they replace: those that no later one replaces; asked for as `is_live` does."""
        return self.filter(~models.Exists(self.model.objects.filter(replaces=models.OuterRef("pk"))))

    def update(self, **kwargs):
        raise WrittenOnce(f"{self.model.__name__} records are never changed: write a correction or a void.")

    def delete(self):
        raise WrittenOnce(f"{self.model.__name__} records are never deleted: write a void.")


class Fact(models.Model):
    """Who wrote it and when it reached the record (which may be later than the act: a late entry)."""

    written_once = True

    recorded_at = models.DateTimeField(default=clock.now, editable=False)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", editable=False, db_index=False
    )

    objects = FactQuerySet.as_manager()

    class Meta:
        abstract = True

    def save(self, *args, **kwargs):
        if not self._state.adding:
            raise WrittenOnce(f"{type(self).__name__} records are never changed: write a correction or a void.")
        super().save(*args, **kwargs)

    def delete(self, *args, **kwargs):
        raise WrittenOnce(f"{type(self).__name__} records are never deleted: write a void.")

    def name_of(self, field: str = "recorded_by"):
        """Who a person in this record was when it was written: reads as the name, and has `name` and `initials`.

        A query, unless the names of that person were prefetched (`recorded_by__names`): lists do so.
        """
        return getattr(self, field).name_at(self.recorded_at)


class Void(Fact):
    """Base of the records that strike out a fact; subclasses add `voids` (one to one) and `replacement`."""

    reason = models.TextField()

    class Meta:
        abstract = True


def append_only(*tables: str) -> migrations.RunPython:
    """In migrations of before: `migrate` guards every fact by itself (`shared/guards.py`)."""
    return migrations.RunPython(migrations.RunPython.noop, migrations.RunPython.noop)
