"""A database at an earlier state, by the migrations that have been squashed since."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.contrib.contenttypes.models import ContentType
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.recorder import MigrationRecorder

from shared.versions import without_squashes
from tests.vault.places import on


def migrate_to(targets: list[tuple[str, str]]) -> None:
    executor = MigrationExecutor(connection)
    executor.loader = without_squashes(connection)
    executor.migrate(targets)


def models_at(targets: list[tuple[str, str]]):
    """Bring the database there, forwards or back; gives `get_model` of that state."""
    migrate_to(targets)
    return without_squashes(connection).project_state(targets).apps.get_model


def made_at(targets: list[tuple[str, str]]):
    """An empty database gets the tables of that state at once: the steps that led to it take ten times as long."""
    loader = without_squashes(connection)
    state = loader.project_state(targets)
    with connection.schema_editor() as editor:
        for model in state.apps.get_models():
            if model._meta.managed and not model._meta.proxy:
                editor.create_model(model)
    recorder = MigrationRecorder(connection)
    recorder.ensure_schema()
    for app, name in sorted({each for target in targets for each in loader.graph.forwards_plan(target)}):
        recorder.record_applied(app, name)
    return state.apps.get_model


@contextmanager
def on_its_own(url: str) -> Iterator[None]:
    """In the block this is the database: its kinds of content have numbers of their own, which nobody may remember after it."""
    try:
        with on(url):
            yield
    finally:
        ContentType.objects.clear_cache()
