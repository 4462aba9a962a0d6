"""What the programs of test_senders.py do: `python -m tests.notices.senders` reads what to do, a deed a line.

Each is done by a process of its own, a child of this one, which reads no module anew: that takes longer than most deeds.
"""

import json
import os
import signal
import sys
import threading
from datetime import timedelta

import django
from django.conf import settings
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
    """A database without rows is filled; gives what two runs that see different failed checks at one moment tell the manager."""
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


def begin(said: str, deed: str, *given: str) -> int:
    """In a child, whose words go to a file; gives its number."""
    if pid := os.fork():
        return pid
    os.dup2(os.open(said, os.O_WRONLY | os.O_CREAT), 1)
    globals()[deed](*given)
    sys.stdout.flush()
    os._exit(0)


if __name__ == "__main__":
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # a child that ends is gone
    for line in sys.stdin:
        print(begin(*json.loads(line)), flush=True)
