"""Begins to write a row, says so, and ends when the file `go-on-<name>` is there: `python -m tests.service.writing slow`."""

import os
import sys
import time
from pathlib import Path

import django

django.setup()  # before the models below can be read

from django.db import transaction  # noqa: E402

from compliance.service import task_runs  # noqa: E402


def main(name: str) -> None:
    with transaction.atomic():
        task_runs.note(name)
        print("in the middle", flush=True)
        while not (Path(os.environ["NOUGHTBOOK_DATA"]) / f"go-on-{name}").exists():
            time.sleep(0.1)


if __name__ == "__main__":
    main(sys.argv[1])
