"""What the programs of test_senders.py do, each a process of its own: `python -m tests.notices.senders DEED ...`."""

import json
import os
import sys
import threading
from datetime import timedelta

import django
from django.conf import settings
from django.core.management import call_command
from django.db import connection, transaction
from django.utils import timezone

django.setup()  # before the models below can be read

from compliance.notices.delivery import send_waiting  # noqa: E402
from compliance.notices.enqueue import enqueue_due_notices  # noqa: E402
from compliance.notices.models import Notice, Notified, State  # noqa: E402
from sites.models import Person  # noqa: E402
from tests.checks.making import bad  # noqa: E402
from tests.world import World, make_probe  # noqa: E402

LINGERS = 2  # seconds between what the first writes and its commit


def prepare() -> None:
    """An empty database is filled; gives what two runs that see different failed checks at one moment tell the manager."""
    call_command("migrate", verbosity=0)
    world, now = World.build(), timezone.now() + timedelta(seconds=1)
    probes = world.probe, make_probe(world.site, "P2", by=world.manager, limits=[world.limit])
    settings.MAIL_WORKS, written = False, threading.Event()

    def fail(probe) -> None:
        """As if what was written with it had been lost."""
        check = bad(probe, world.cook, now - timedelta(minutes=1))
        Notified.objects.filter(number=check.pk).delete()
        Notice.objects.filter(facts=[check.pk]).delete()

    def first() -> None:
        with transaction.atomic():
            enqueue_due_notices(now)
            written.set()
            threading.Event().wait(LINGERS)
        connection.close()

    fail(probes[0])
    thread = threading.Thread(target=first)
    thread.start()
    written.wait()
    fail(probes[1])
    for _ in range(2):
        enqueue_due_notices(now)
        thread.join()
    mine = Notice.objects.filter(person=world.manager, kind="failed").order_by("pk")
    print(json.dumps([[code in notice.text for code in ("Probe P1", "Probe P2")] for notice in mine]))


def send(port: str, count: str = "0", minutes: str = "0") -> None:
    """Write so many notices, and send until all is sent, as if so many minutes later; gives what they have become."""
    settings.EMAIL_BACKEND, settings.MAIL_WORKS = "django.core.mail.backends.smtp.EmailBackend", True
    settings.EMAIL_HOST, settings.EMAIL_PORT, later = "127.0.0.1", int(port), timedelta(minutes=int(minutes))
    fields = {"person": Person.objects.order_by("pk").first(), "kind": "password", "link": "/", "in_page": False}
    for subject in (f"{port} {os.getpid()} {number}" for number in range(int(count))):
        Notice.objects.create(about=subject, subject=subject, text="t", html="t", state=State.WAITING, **fields)
    while send_waiting(lambda: timezone.now() + later, most=20):
        pass
    print(json.dumps(sorted(map(list, set(Notice.objects.exclude(state="page").values_list("state", "attempts"))))))


if __name__ == "__main__":
    globals()[sys.argv[1]](*sys.argv[2:])
