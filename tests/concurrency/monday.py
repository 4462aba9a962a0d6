"""Somebody who writes again and again while digests are worked out, rows are laid ahead and a file comes in, each slowly.

`python -m tests.concurrency.monday`, a process of its own on empty tables, prints how it went as JSON.
"""

import json
import threading
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from unittest import mock

import django
from django.db import connection, transaction
from django.utils import timezone

django.setup()  # before the models below can be read

from compliance.checks.timeline import lock, recut  # noqa: E402
from compliance.notices import digests  # noqa: E402
from compliance.notices.enqueue import enqueue_due_notices  # noqa: E402
from compliance.notices.models import Notice, Notified  # noqa: E402
from compliance.notices.recipients import Kind  # noqa: E402
from compliance.plans.models import Reminder  # noqa: E402
from compliance.readings.importing import bring, import_file  # noqa: E402
from compliance.readings.models import Reading  # noqa: E402
from compliance.reminders.planning import extend_horizon  # noqa: E402
from tests.checks.making import good  # noqa: E402
from tests.readings.files import many  # noqa: E402
from tests.world import World, make_probe  # noqa: E402

SLOWLY, PIECES, ROWS = 1.5, 5, 40  # seconds for the drift of all probes, and between two pieces of so many rows


def slowly(act: Callable, seconds: float) -> Callable:
    def run(*given, **named):
        time.sleep(seconds)
        return act(*given, **named)

    return run


def slow_pieces(*given) -> Callable:
    for piece in ORDINARY(*given, size=ROWS):
        time.sleep(SLOWLY / PIECES)
        yield piece


ORDINARY = bring.batches


class Writer(threading.Thread):
    """Keeps the longest that it waited until it could write, and what went wrong."""

    def __init__(self, number: int):
        super().__init__()
        self.number, self.over, self.waited, self.wrong = number, threading.Event(), [], []

    def run(self) -> None:
        while not self.over.wait(0.02):
            begun = time.monotonic()
            try:
                with transaction.atomic():
                    Notified.objects.create(kind=Kind.PASSWORD, number=self.number, at=timezone.now())
                    self.waited.append(time.monotonic() - begun)
            except Exception as error:  # whatever it is, the test is to see it
                self.wrong.append(f"{type(error).__name__}: {error}")
        connection.close()


def prepare(world: World) -> datetime:
    """An area that has had a digest before, and a probe whose drift is looked at; gives when the next is due."""
    probes = [make_probe(world.site, f"MON{n}", by=world.manager) for n in range(3)]
    for probe in probes:
        with transaction.atomic():
            recut(lock(probe))
        good(probe, world.cook, timezone.now() - timedelta(hours=1))
    enqueue_due_notices(timezone.now())
    return timezone.now() + timedelta(days=8)


def main() -> None:
    world = World.build()
    later, writer, rows, wrong = prepare(world), Writer(world.site.pk), Reminder.objects.count(), []

    def run(act):
        try:
            act()
        except Exception as error:  # whatever it is, the test is to see it
            wrong.append(f"{type(error).__name__}: {error}")
        connection.close()

    at_once = (
        lambda: enqueue_due_notices(later),
        lambda: extend_horizon(later),
        lambda: import_file(by=world.manager, file_name="week.csv", content=many(PIECES * ROWS)),
    )
    with (
        mock.patch.object(digests, "outlooks_of", slowly(digests.outlooks_of, SLOWLY)),
        mock.patch.object(bring, "batches", slow_pieces),
    ):
        threads = [threading.Thread(target=run, args=[act]) for act in at_once]
        for thread in (writer, *threads):
            thread.start()
        for thread in threads:
            thread.join()
    writer.over.set()
    writer.join()
    told = {
        "wrong": wrong + writer.wrong,
        "written": len(writer.waited),
        "longest": max(writer.waited),
        "digests": Notice.objects.filter(kind=Kind.DIGEST).count(),
        "readings": Reading.objects.count(),
        "laid": Reminder.objects.count() - rows,
    }
    print(json.dumps(told))


if __name__ == "__main__":
    main()
