"""Two processes that look for what is to be told at the same moment, one of which sees more than the other.

A process of its own on an empty database: `python -m tests.notices.turns` prints as JSON what the manager was told of.
"""

import json
import threading
from datetime import timedelta

import django
from django.core.management import call_command
from django.db import connection, transaction
from django.utils import timezone

django.setup()  # before the models below can be read

from compliance.notices.filling import fill  # noqa: E402
from compliance.notices.models import Notice  # noqa: E402
from tests.checks.making import bad  # noqa: E402
from tests.world import World, make_probe  # noqa: E402

LINGERS = 2  # seconds between what the first writes and its commit


def main() -> None:
    call_command("migrate", verbosity=0)
    world, now = World.build(), timezone.now()
    second = make_probe(world.site, "P2", by=world.manager, limits=[world.limit])
    bad(world.probe, world.cook, now - timedelta(minutes=2))
    written = threading.Event()

    def first() -> None:
        with transaction.atomic():
            fill(now + timedelta(seconds=1))
            written.set()
            threading.Event().wait(LINGERS)
        connection.close()

    thread = threading.Thread(target=first)
    thread.start()
    written.wait()
    bad(second, world.cook, now - timedelta(minutes=1))
    fill(timezone.now() + timedelta(seconds=1))
    thread.join()
    mine = Notice.objects.filter(person=world.manager, kind="failed").order_by("pk")
    print(json.dumps([[code in notice.text for code in ("Probe P1", "Probe P2")] for notice in mine]))


if __name__ == "__main__":
    main()
