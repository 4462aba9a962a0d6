"""Whether this program and the database are of one version: the migrations that were applied are those that it knows."""

import sys
from pkgutil import iter_modules
from time import monotonic, sleep

from django.apps import apps
from django.core.management.base import CommandError
from django.db import InterfaceError, OperationalError, connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from .grants import may_change_tables
from .system_checks import say

NEWER = """This database was changed by a newer version of Noughtbook (by {}).
Install that version here, or restore a backup that was made before; this one might lose what it does not know of."""
OLDER = """The tables are missing or older than this program ({}).
Run “python manage.py migrate”{}, and start again."""
OWNER = " as the role that owns them (README, On Debian, step by step)"
WAITS = "The database does not answer. This program waits {} seconds for it: {}"
SILENT = "There was no answer. See that the database runs and that DATABASE_URL leads there (README, Settings)."
WAIT_FOR, AGAIN_AFTER = 60, 2  # seconds


def unknown_here(loader: MigrationLoader) -> list[str]:
    """What was applied to the database and this program knows nothing of, not even as what another one stands for."""
    stood_for = {name for migration in loader.disk_migrations.values() for name in migration.replaces}
    return _named(set(loader.applied_migrations) - set(loader.disk_migrations) - stood_for)


def yet_to_apply(loader: MigrationLoader) -> list[str]:
    return _named(set(loader.graph.nodes) - set(loader.applied_migrations))


def all_recorded() -> bool:
    """Whether the database has had exactly the migrations that are here, by the names of their files: none is loaded."""
    folders = ((app.label, iter_modules([f"{app.path}/migrations"])) for app in apps.get_app_configs())
    here = {(label, each.name) for label, files in folders for each in files if each.name[0] not in "_~"}
    return here == MigrationRecorder(connection).applied_migrations().keys()


def without_squashes(connection=None) -> MigrationLoader:
    """Every migration by itself and none that stands for others, as databases and backups of before had them."""
    loader = MigrationLoader(connection, replace_migrations=False)
    for name, squash in loader.replacements.items():
        loader.graph.remove_replacement_node(name, squash.replaces)
    loader.replacements.clear()
    return loader


def refuse_newer() -> None:
    """Raises CommandError saying what to do where a newer version has changed the tables."""
    if unknown := unknown_here(MigrationLoader(connection)):
        raise CommandError(NEWER.format(_shortly(unknown)))


def refuse_older() -> None:
    """Raises CommandError saying what to do where there is something to migrate."""
    if missing := yet_to_apply(MigrationLoader(connection)):
        raise CommandError(OLDER.format(_shortly(missing), "" if may_change_tables(connection) else OWNER))


def stop_unless_same_version() -> None:
    """For programs that no command starts. Says what is wrong and what to do, and raises SystemExit.

    Leaves a connection open, which is to be closed where the process may be forked.
    """
    try:
        _asked_with_patience()
    except CommandError as refused:
        say(str(refused))
        sys.exit(1)


def _asked_with_patience() -> None:
    """Its server may be starting too."""
    until, told = monotonic() + WAIT_FOR, False
    while True:
        try:
            if not all_recorded():
                refuse_newer()
                refuse_older()
            return
        except (OperationalError, InterfaceError) as error:
            if monotonic() > until:
                raise CommandError(SILENT) from None
            if not told:
                say(WAITS.format(WAIT_FOR, error))
            told = True
            connection.close()
            sleep(AGAIN_AFTER)


def _named(migrations: set[tuple[str, str]]) -> list[str]:
    return [f"{app} {name}" for app, name in sorted(migrations)]


def _shortly(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{names[0]} and {len(names) - 1} more"
