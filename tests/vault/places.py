"""Databases of their own for backups: what is committed in them does not reach those of other tests."""

import shutil
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from io import StringIO
from pathlib import Path

from django.core.management import call_command
from django.db import connections

from compliance.readings.importing import import_file
from compliance.readings.models import Reading
from shared.environment import database_of
from sites.models import Person
from tests.engines import Run
from tests.readings.files import many
from tests.world import World

WAL = {"transaction_mode": "IMMEDIATE", "timeout": 20, "init_command": "PRAGMA journal_mode=WAL;"}


@contextmanager
def on(url: str) -> Iterator[None]:
    """In the block this is the database of the settings."""
    settings, before = connections.databases["default"], connections["default"]
    given = database_of(url) | ({"OPTIONS": WAL} if url.startswith("sqlite") else {})
    connections.databases["default"] = connections.configure_settings({"default": given})["default"]
    connections["default"] = connections.create_connection("default")
    try:
        yield
    finally:
        connections["default"].close()
        connections.databases["default"], connections["default"] = settings, before


def said_by(command: str, *arguments, **options) -> str:
    out = StringIO()
    call_command(command, *map(str, arguments), stdout=out, stderr=out, **options)
    return out.getvalue()


class Places:
    """Databases with all tables (`empty`), with the stock world and some readings too (`filled`), and with nothing (`bare`).

    Each takes PostgreSQL a while to make and to drop. Where nothing is changed, `tables` and `model` do.
    """

    def __init__(self, folder: Path):
        self.folder, self.made = folder, []
        self.tables = self.copy(self._of_the_run())
        self.model = self.copy(self.tables)
        with on(self.model):
            bring_in(many(20), World.build().manager)

    def _of_the_run(self) -> str:
        """The tables that the test run has made already."""
        connection = connections["default"]
        if Run.postgres:
            connection.close()  # or it could not be copied
            return Run.postgres.url(connection.settings_dict["NAME"])
        file = self.folder / "tables.sqlite3"
        connection.ensure_connection()
        connection.connection.execute("VACUUM INTO ?", [str(file)])
        return f"sqlite:///{file}"

    def bare(self) -> str:
        return self._named(lambda name: Run.postgres.create(name))

    def empty(self) -> str:
        return self.copy(self.tables)

    def filled(self) -> str:
        return self.copy(self.model)

    def copy(self, url: str) -> str:
        copy = self._named(lambda name: Run.postgres.create(name, url.rpartition("/")[2]))
        if Run.postgres is None:
            shutil.copyfile(file_of(url), file_of(copy))
        return copy

    def _named(self, create: Callable[[str], str]) -> str:
        name = f"vault_{uuid.uuid4().hex}"
        if Run.postgres is None:
            return f"sqlite:///{self.folder / name}"
        self.made.append(name)
        return create(name)

    def drop(self, but: int) -> None:
        """All but the first so many."""
        while len(self.made) > but:
            Run.postgres.drop(self.made.pop())


def file_of(url: str) -> Path:
    return Path(url.removeprefix("sqlite:///"))


def bring_in(content: bytes, by: Person) -> None:
    import_file(by=by, file_name="readings.csv", content=content)


def readings() -> int:
    return Reading.objects.count()
