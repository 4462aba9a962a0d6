"""The start command, in which drawing drift and looking at a password take until a file appears, so that tests need no clock:
`python -m tests.service.few_places FOLDER start --port 0`."""

import sys
import time
from itertools import count
from pathlib import Path

import django

django.setup()  # before the models below can be read

from django.contrib.auth.hashers import PBKDF2PasswordHasher  # noqa: E402
from django.core.management import execute_from_command_line  # noqa: E402

from compliance.advice import views  # noqa: E402
from shared.request_slots import PASSWORDS  # noqa: E402

FOR_EVER = 120  # seconds, after which a test has failed long since


def until_let_go(folder: Path, doing: str, function):
    """The function as it is, but begun only when there is a file of that name; a file tells of each that waits."""
    numbers = count()

    def waiting(*args, **kwargs):
        (folder / f"{doing}-{next(numbers)}").touch()
        end = time.monotonic() + FOR_EVER
        while not (folder / f"go-on-{doing}").exists() and time.monotonic() < end:
            time.sleep(0.05)
        return function(*args, **kwargs)

    return waiting


def main(folder: Path, command: list[str]) -> None:
    PASSWORDS.patience, PBKDF2PasswordHasher.iterations = 2, 1
    views.outlooks_of = until_let_go(folder, "drawing", views.outlooks_of)
    PBKDF2PasswordHasher.encode = until_let_go(folder, "hashing", PBKDF2PasswordHasher.encode)
    execute_from_command_line(["manage.py", *command])


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2:])
