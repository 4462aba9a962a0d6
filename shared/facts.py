"""Facts: records that are written once. A correction is a new fact; a void says why the old one no longer counts.

The database itself refuses UPDATE and DELETE on them: `append_only()` makes the triggers, in a migration.
"""

from django.conf import settings
from django.db import migrations, models

from shared import clock


class WrittenOnce(Exception):
    """A fact was about to be changed or deleted."""


class FactQuerySet(models.QuerySet):
    def update(self, **kwargs):
        raise WrittenOnce(f"{self.model.__name__} records are never changed: write a correction or a void.")

    def delete(self):
        raise WrittenOnce(f"{self.model.__name__} records are never deleted: write a void.")


class Fact(models.Model):
    """Who wrote it and when it reached the record (which may be later than the act: a late entry)."""

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


class Void(Fact):
    """Base of the records that strike out a fact; subclasses add `voids` (one to one) and `replacement`."""

    reason = models.TextField()

    class Meta:
        abstract = True


SQLITE_TRIGGER = """
CREATE TRIGGER {table}_refuses_{verb} BEFORE {verb} ON {table}
BEGIN SELECT RAISE(ABORT, 'records in {table} are written once'); END;
"""
POSTGRES_FUNCTION = """
CREATE OR REPLACE FUNCTION noughtbook_written_once() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION 'records in % are written once', TG_TABLE_NAME USING ERRCODE = 'integrity_constraint_violation'; END $$;
"""
POSTGRES_TRIGGER = """
CREATE TRIGGER {table}_refuses_{verb} BEFORE {verb} ON {table}
FOR EACH STATEMENT EXECUTE FUNCTION noughtbook_written_once();
"""


def guard(schema_editor, table: str) -> None:
    """Make `table` refuse UPDATE and DELETE (and TRUNCATE, where the engine has it)."""
    if schema_editor.connection.vendor == "sqlite":
        for verb in ("UPDATE", "DELETE"):
            schema_editor.execute(SQLITE_TRIGGER.format(table=table, verb=verb))
        return
    schema_editor.execute(POSTGRES_FUNCTION, params=None)
    for verb in ("UPDATE", "DELETE", "TRUNCATE"):
        schema_editor.execute(POSTGRES_TRIGGER.format(table=table, verb=verb))


def unguard(schema_editor, table: str) -> None:
    on = "" if schema_editor.connection.vendor == "sqlite" else f" ON {table}"
    for verb in ("UPDATE", "DELETE", *([] if not on else ["TRUNCATE"])):
        schema_editor.execute(f"DROP TRIGGER IF EXISTS {table}_refuses_{verb}{on}")


def append_only(*tables: str) -> migrations.RunPython:
    """A migration operation that has the database refuse changes to these tables."""

    def forwards(apps, schema_editor):
        for table in tables:
            guard(schema_editor, table)

    def backwards(apps, schema_editor):
        for table in tables:
            unguard(schema_editor, table)

    return migrations.RunPython(forwards, backwards)
