"""From the SQLite database of the settings to PostgreSQL."""

from argparse import ArgumentParser

from django.core.management.base import BaseCommand
from django.db import connection

from compliance.service.vault.contents import rows_in
from compliance.service.vault.moving import move

BEGUN = "Copying everything. Until this ends, nobody can write to the SQLite database."
DONE = """Moved {tables} tables with {rows:,} rows. Each has as many rows in PostgreSQL as in SQLite, and the same in them.
Set DATABASE_URL to the new address before anybody goes on: what is still written to {file}
does not get there. That file is as it was; keep it until you have a backup of the new database."""


class Command(BaseCommand):
    help = "Move all records from the SQLite database of the settings to an empty PostgreSQL. Stop all other programs first."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "url",
            metavar="DATABASE_URL",
            help="where to, such as postgres://user@host/name; as its owner. Give a password in PGPASSWORD or "
            "PGPASSFILE rather than here, where others on the machine may read it",
        )

    def handle(self, *, url: str, **options) -> None:
        self.stdout.write(BEGUN)
        moved = move(url)
        self.stdout.write(DONE.format(tables=len(moved), rows=rows_in(moved), file=connection.settings_dict["NAME"]))
