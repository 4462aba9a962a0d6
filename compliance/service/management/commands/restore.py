"""A backup in place of the database."""

from argparse import ArgumentParser
from pathlib import Path

from django.core.management.base import BaseCommand

from compliance.service.vault.contents import rows_in
from compliance.service.vault.saving import restore

DONE = """The database is as it was on {made:%d %b %Y at %H:%M:%S} UTC: {tables} tables with {rows:,} rows. Each table has as many
rows as when the backup was made, and the same in them. Everybody has to sign in again, with the password of that time; roles
are those of that time too, so look through People. Notices that had not been sent then are sent now."""
KEPT = "What was there before is kept as {}, until you remove it."


class Command(BaseCommand):
    help = (
        "Restore a backup into an empty database, or with --replace in place of records. Stop all other programs first."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="a file that “manage.py backup” has made")
        parser.add_argument(
            "--replace", action="store_true", help="put it in place of records, which are kept beside it"
        )

    def handle(self, *, file: Path, replace: bool, **options) -> None:
        done = restore(file, replace, self.stdout.write)
        self.stdout.write(DONE.format(tables=len(done.contents), rows=rows_in(done.contents), made=done.made))
        if done.kept:
            self.stdout.write(KEPT.format(done.kept))
