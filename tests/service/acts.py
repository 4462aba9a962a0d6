"""Tasks for the tests alone, loaded by a worker with `--include tests.service.acts`."""

import os
import time
from pathlib import Path

from celery import shared_task

from compliance.service.models import TaskRun

FOLDER = Path(os.environ["NOUGHTBOOK_DATA"])


@shared_task(name="acts.once")
def once(key: str, seconds: float) -> None:
    """Take so long the first time it is tried; leave one row however often it is."""
    tried = FOLDER / f"tried-{key}"
    first = not tried.exists()
    with tried.open("a") as file:
        file.write("x")
    time.sleep(seconds if first else 0)
    TaskRun.objects.bulk_create([TaskRun(name=f"act-{key}", at="2026-01-01T00:00Z")], ignore_conflicts=True)
