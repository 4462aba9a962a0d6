"""A database at an earlier state, by the migrations that have been squashed since."""

from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from shared.versions import without_squashes


def migrate_to(targets: list[tuple[str, str]]) -> None:
    executor = MigrationExecutor(connection)
    executor.loader = without_squashes(connection)
    executor.migrate(targets)


def models_at(targets: list[tuple[str, str]]):
    """Bring the database there, forwards or back; gives `get_model` of that state."""
    migrate_to(targets)
    return without_squashes(connection).project_state(targets).apps.get_model
