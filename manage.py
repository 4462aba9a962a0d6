#!/usr/bin/env python
"""Run Noughtbook's commands."""

import os
import sqlite3
import sys

NO_DATABASE = """The database does not do what it is asked:
{}
See that its server runs and that DATABASE_URL leads there (README, Settings); --traceback shows where it came to this."""


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "compliance.settings")
    from django.core.management import execute_from_command_line
    from django.db import OperationalError

    try:
        execute_from_command_line(sys.argv)
    except (OperationalError, sqlite3.OperationalError) as error:
        if "--traceback" in sys.argv:
            raise
        sys.exit(NO_DATABASE.format(error))


if __name__ == "__main__":
    main()
