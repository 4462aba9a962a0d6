"""A backup of the database, verified, in one file."""

import re
from argparse import ArgumentParser
from datetime import UTC, datetime
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from compliance.service.vault.contents import rows_in
from compliance.service.vault.saving import back_up

OURS = re.compile(r"noughtbook-\d{8}T\d{6}Z\.zip")
DONE = """{file} holds {tables} tables with {rows:,} rows, as they were on {made:%d %b %Y at %H:%M:%S} UTC. Read back, each
table has as many rows as in the database, and the same in them. Keep a copy on another machine as well."""


class Command(BaseCommand):
    help = "Back the database up, also while people work: write it to one file, read it back and compare."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="the file to write; in a folder, one that is named for the time")
        parser.add_argument(
            "--keep", type=int, metavar="N", help="in a folder: once the new one is there, delete all but the newest N"
        )

    def handle(self, *, file: Path, keep: int | None, **options) -> None:
        folder = file if file.is_dir() else None
        if keep is not None and (keep < 1 or not folder):
            raise CommandError("--keep takes a number from 1 on, and a folder in place of a file.")
        file = file / f"noughtbook-{datetime.now(UTC):%Y%m%dT%H%M%SZ}.zip" if folder else file
        done = back_up(file)
        self.stdout.write(
            DONE.format(file=file, tables=len(done.contents), rows=rows_in(done.contents), made=done.made)
        )
        if keep:
            self._delete_all_but(keep, folder)

    def _delete_all_but(self, keep: int, folder: Path) -> None:
        ours = sorted(path for path in folder.iterdir() if OURS.fullmatch(path.name))
        for old in ours[:-keep]:
            old.unlink()
            self.stdout.write(f"Deleted {old.name}: {keep} are kept.")
