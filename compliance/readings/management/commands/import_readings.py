import signal
from collections.abc import Iterator
from pathlib import Path
from signal import SIGINT, SIGTERM

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError, connection
from tqdm import tqdm

from compliance.readings.imported_file import ImportedFile
from compliance.readings.importing import import_parts, preview
from compliance.readings.models import Import
from sites.models import Person

PATIENCE = 300  # seconds for a piece to have its turn


class Command(BaseCommand):
    help = "Bring in a CSV file of readings: all good rows; the bad ones are named by line, and the same file twice adds nothing."

    def add_arguments(self, parser):
        parser.add_argument("file", type=Path, help="CSV, UTF-8; its first line names the columns")
        parser.add_argument(
            "--by", required=True, metavar="EMAIL", help="who brings it in; needs a role at the sites named"
        )
        parser.add_argument("--dry-run", action="store_true", help="only say what would come in")

    def handle(self, *, file, by, dry_run, verbosity, **options):
        person, content = self._person(by), self._content(file)
        try:
            self._preview(content, person) if dry_run else self._bring(file, content, person, quiet=verbosity == 0)
        except ValidationError as refused:
            raise CommandError(f"{file}: {' '.join(refused.messages)}") from None

    def _person(self, email: str) -> Person:
        try:
            return Person.objects.get_by_natural_key(email)
        except Person.DoesNotExist:
            raise CommandError(f"Nobody has the e-mail {email}. Name somebody who signs in here.") from None

    def _content(self, file: Path) -> bytes:
        try:
            return file.read_bytes()
        except OSError as error:
            raise CommandError(f"{file} cannot be read: {error.strerror}.") from None

    def _bring(self, file: Path, content: bytes, person: Person, quiet: bool) -> None:
        _wait_longer()
        parts, why = [], ""
        with tqdm(
            total=content.count(b"\n"), unit=" rows", unit_scale=True, disable=quiet, file=self.stderr._out
        ) as bar:
            try:
                for part in _until_told(import_parts(by=person, file_name=file.name, content=content)):
                    parts.append(part)
                    bar.update(part.rows)
            except DatabaseError as error:
                why = f" ({error})"
        if not parts:
            raise CommandError(f"{file}: nothing was written{why}.")
        self._tell(ImportedFile(parts))
        if after := parts[-1].rest_after:
            raise CommandError(
                f"{file}: stopped after line {after}{why}. What was written is whole; the same file again adds only the rest."
            )

    def _tell(self, made: ImportedFile) -> None:
        self._name_bad(made.refused)
        self.stdout.write(
            f"Readings added: {made.added}; in the record already: {made.known}; rows refused: {made.refused_count}; "
            f"deviations opened: {made.breaches}."
        )

    def _preview(self, content: bytes, person: Person) -> None:
        found = preview(content, person)
        self._name_bad(found.bad)
        self.stdout.write(f"Good rows: {found.good} of {found.rows}. Nothing is written.")

    def _name_bad(self, bad: list) -> None:
        for line, reason in bad:
            self.stderr.write(f"line {line}: {reason}")


def _wait_longer() -> None:
    """Nobody waits for an answer here: many people who write to SQLite at the same time are no reason to stop half-way."""
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute(f"PRAGMA busy_timeout = {1000 * PATIENCE}")


def _until_told(parts: Iterator[Import]) -> Iterator[Import]:
    """Ctrl-C, and the system's word to end, are heeded between two pieces, so that it is certain what was written."""
    told: list[int] = []
    before = {number: signal.signal(number, lambda got, frame: told.append(got)) for number in (SIGINT, SIGTERM)}
    try:
        for part in parts:
            yield part
            if told:
                return
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
