"""The start command, in which drawing drift and looking at a password take until a file appears, so that tests need no clock:
`python -m tests.engine.few_places FOLDER start --port 0`."""

import os
import sys
import time
from itertools import count
from pathlib import Path

FOLDER = Path(sys.argv.pop(1))
FOR_EVER = 120  # seconds, after which a test has failed long since
numbers = count()


def until_let_go(doing: str, function):
    """The function as it is, but begun only when there is a file of that name; a file tells of each that waits."""

    def waiting(*args, **kwargs):
        (FOLDER / f"{doing}-{next(numbers)}").touch()
        end = time.monotonic() + FOR_EVER
        while not (FOLDER / f"go-on-{doing}").exists() and time.monotonic() < end:
            time.sleep(0.05)
        return function(*args, **kwargs)

    return waiting


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "compliance.settings")
    import django

    django.setup()
    from django.contrib.auth import hashers
    from django.core.management import execute_from_command_line

    from compliance.advice import views

    views.outlooks_of = until_let_go("drawing", views.outlooks_of)
    hashers.PBKDF2PasswordHasher.encode = until_let_go("hashing", hashers.PBKDF2PasswordHasher.encode)
    execute_from_command_line(["manage.py", *sys.argv[1:]])


if __name__ == "__main__":
    main()
