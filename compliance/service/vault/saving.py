"""Making a backup, and restoring one. Each reads back what it has written, and goes by that."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from types import ModuleType
from typing import NamedTuple

from django.conf import settings
from django.contrib.auth import get_user_model
from django.contrib.sessions.models import Session
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import DatabaseError, connection

from compliance.service.startup_lock import startup_lock
from shared.audit.trail import action, note
from sites.models import Business, Person

from . import postgres, sqlite
from .archive import Damaged, pack, publish, stop_if_there, unpack, workroom
from .contents import Contents, contents_of, migrations_of, models_of, stop_if_different

ENGINES = {"sqlite": sqlite, "postgresql": postgres}
NOTHING_THERE = (
    "There is nothing to back up: the database has no tables. See that DATABASE_URL or NOUGHTBOOK_DATA leads there."
)
NOT_COPIED = """The copy is not what the database holds, or the database is damaged, so no backup was made. Try again; if that is
said again, go back to the last good backup with “manage.py restore”."""
OTHER_KIND = """{file} is a backup of {its}, and the settings name {ours}. Restore it into {its}; “manage.py move” then takes
the records from SQLite to PostgreSQL."""
NOT_AS_MADE = (
    "{} is damaged: it does not hold what it held when it was made. Nothing was restored. Fetch a good copy of it."
)
NOT_AS_RESTORED = "The database is not what the backup holds. What was there before is in place again. Try once more."
HOLDS_RECORDS = """This database {}, and they stay as they are. Restore into an empty one (NOUGHTBOOK_DATA or DATABASE_URL
names it), or say --replace: then the backup takes their place, and they are kept beside it."""


class Done(NamedTuple):
    contents: dict
    made: datetime  # when the backup was
    kept: str  # where what was there before is; empty if it was not worth keeping


def back_up(file: Path) -> Done:
    """Write a backup of the database as it is at this moment. Raises CommandError saying what to do."""
    stop_if_there(file)
    engine, made = ENGINES[connection.vendor], datetime.now(UTC)
    with workroom(file.parent) as room:
        with engine.one_moment():
            migrations = migrations_of("default")
            if not migrations:
                raise CommandError(NOTHING_THERE)
            models = models_of(migrations, "This database")
            engine.copy_to(room / "database")
            contents = contents_of("default", models)
        _compare(contents, engine, room / "database", models, NOT_COPIED)
        told = {"made": made.isoformat(), "engine": engine.KIND, "migrations": migrations, "contents": contents}
        pack(room / "database", told, room / file.name)
        (room / "database").unlink()
        unpack(room / file.name, room)
        publish(room / file.name, file)
    return Done(contents, made, "")


def restore(file: Path, replace: bool, say: Callable[[str], None]) -> Done:
    """Put a backup in place of the database. Raises CommandError, with the database as it was before."""
    engine = ENGINES[connection.vendor]
    with startup_lock(), workroom(settings.DATA_DIR) as room:
        engine.stop_if_not_allowed()
        held = what_is_held()
        if held and not replace:
            raise CommandError(HOLDS_RECORDS.format(held))
        copy, told = unpack(file, room)
        if told["engine"] != engine.KIND:
            raise CommandError(OTHER_KIND.format(file=file, its=told["engine"], ours=engine.KIND))
        models = models_of(told["migrations"], str(file))
        _compare(told["contents"], engine, copy, models, NOT_AS_MADE.format(file))
        say("The backup is whole. Putting it in place.")
        with engine.replaced_by(copy, f"before-restore-{datetime.now(UTC):%Y%m%d-%H%M%S}") as kept:
            stop_if_different(told["contents"], contents_of("default", models), NOT_AS_RESTORED)
            call_command("migrate", verbosity=0, interactive=False)
            for business in Business.objects.all():
                note_restored(by=None, business=business, made=told["made"])
            Session.objects.all().delete()  # or who has signed out since would be signed in again
        if not held:
            engine.forget(kept)
    return Done(told["contents"], datetime.fromisoformat(told["made"]), engine.KEPT_AS.format(kept) if held else "")


@action("business.restore")
def note_restored(*, by: Person | None, business: Business, made: str) -> None:
    """Say in the trail that all records are those of a backup, made at a moment (ISO 8601)."""
    note("business.restore", by=by, subject=business, made=made)


def _compare(contents: Contents, engine: ModuleType, copy: Path, models: list, words: str) -> None:
    try:
        found = engine.contents_of_copy(copy, models)
    except Damaged as damaged:
        raise CommandError(f"{words}\n{damaged}") from None
    stop_if_different(contents, found, words)


def what_is_held() -> str:
    """What the database holds that people entered, none of whom can enter anything before there is one; empty if nothing."""
    people = get_user_model()
    try:
        if people._meta.db_table not in connection.introspection.table_names():
            return ""
        return "holds records that people entered" if people.objects.exists() else ""
    except DatabaseError as error:
        if connection.vendor != "sqlite":
            raise
        connection.close()
        return f"cannot be read ({error}), and may hold records that people entered"
