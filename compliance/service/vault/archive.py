"""The file of a backup: a zip with the copy of the database, and beside it what restoring needs to verify that copy."""

import json
import os
import shutil
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.core.management.base import CommandError

from shared.private import private_file

FORM = "Noughtbook backup 1"
COPY, MANIFEST = "database", "manifest.json"
NO_BACKUP = "{} is no backup of Noughtbook: {}. Name a file that “manage.py backup” has made."
DAMAGED = """{} is damaged: {}.
Nothing was restored from it. Take another backup, or fetch this one again from where a good copy of it is kept."""


class Damaged(Exception):
    """A copy that the tools of its own database cannot read."""


@contextmanager
def workroom(folder: Path) -> Iterator[Path]:
    """A folder for what is half made, that others cannot look into; gone afterwards."""
    try:
        with tempfile.TemporaryDirectory(prefix="unfinished-", dir=folder) as room:
            yield Path(room)
    except OSError as refused:
        raise CommandError(
            f"{folder}: {refused.strerror or refused}. See that there is room, and that you may write there."
        ) from None


def pack(copy: Path, manifest: dict, into: Path) -> None:
    """Write the file of a backup, for its owner alone; it is on the disk when this ends."""
    private_file(into)
    with zipfile.ZipFile(into, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        archive.write(copy, COPY)
        archive.writestr(MANIFEST, json.dumps({"form": FORM, **manifest}, indent=1))
    with into.open("rb") as written:
        os.fsync(written.fileno())


def publish(made: Path, file: Path) -> None:
    """Give it its name at last. Raises CommandError where something has that name already."""
    stop_if_there(file)
    made.rename(file)
    folder = os.open(file.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


def stop_if_there(file: Path) -> None:
    if os.path.lexists(file):
        raise CommandError(f"{file} is there already and stays as it is. Name another file.")


def unpack(file: Path, room: Path) -> tuple[Path, dict]:
    """The copy of the database, and what is told of it. Raises CommandError where it is no backup, or a damaged one."""
    try:
        with zipfile.ZipFile(file) as archive:
            manifest = _manifest(file, archive)
            with archive.open(COPY) as copy, (room / COPY).open("wb") as out:
                shutil.copyfileobj(copy, out, 1 << 20)
    except (zipfile.BadZipFile, zlib.error, EOFError) as error:
        whose = DAMAGED if _begins_as_ours(file) else NO_BACKUP
        raise CommandError(whose.format(file, str(error).rstrip("."))) from None
    except OSError as refused:
        raise CommandError(f"{refused.filename or file}: {refused.strerror}.") from None
    return room / COPY, manifest


def _manifest(file: Path, archive: zipfile.ZipFile) -> dict:
    if not {COPY, MANIFEST} <= set(archive.namelist()):
        raise CommandError(NO_BACKUP.format(file, "it holds something else"))
    try:
        manifest = json.loads(archive.read(MANIFEST))
    except ValueError as error:
        raise CommandError(DAMAGED.format(file, error)) from None
    if manifest.get("form") != FORM:
        told = f"{file} is a backup in a form that this program does not know. Update the program, and try again."
        raise CommandError(told)
    return manifest


def _begins_as_ours(file: Path) -> bool:
    """Whether it was a backup before it was cut off or changed: the copy comes first in it."""
    with file.open("rb") as begun:
        return begun.read(64)[30 : 30 + len(COPY)] == COPY.encode()
