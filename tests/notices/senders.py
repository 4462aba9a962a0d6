"""Several senders with connections of their own at one outbox, and a mail server that takes everything.

A process of its own on an empty database: `python -m tests.notices.senders` prints as JSON what came of it.
"""

import json
import threading

import django
from django.conf import settings
from django.core.management import call_command
from django.db import connection

django.setup()  # before the models below can be read

from compliance.notices.models import Notice, State  # noqa: E402
from compliance.notices.sending import send_batch  # noqa: E402
from compliance.reminders import database_clock  # noqa: E402
from tests.engine.post import PostOffice  # noqa: E402
from tests.notices import SENT  # noqa: E402
from tests.world import World  # noqa: E402

SENDERS = 3


def write(world) -> None:
    told = {"kind": "failed", "person": world.manager, "site": world.site, "text": "Stop", "html": "<p>Stop</p>"}
    Notice.objects.bulk_create(
        Notice(about=f"{n}", subject=f"Stop {n}", link="/", in_page=True, state=State.WAITING, **told)
        for n in range(SENT)
    )


def main() -> None:
    call_command("migrate", verbosity=0)
    write(World.build())
    office, shot, wrong = PostOffice(), threading.Barrier(SENDERS), []
    settings.EMAIL_BACKEND, settings.EMAIL_HOST, settings.EMAIL_PORT = (
        "compliance.notices.post.EmailBackend", "127.0.0.1", office.port
    )  # fmt: skip

    def send() -> None:
        try:
            shot.wait()
            while Notice.objects.exclude(state=State.SENT).exists():
                send_batch(database_clock.now, most=20)
        except Exception as error:  # whatever it is, the test is to see it
            wrong.append(f"{type(error).__name__}: {error}")
        finally:
            connection.close()

    threads = [threading.Thread(target=send) for _ in range(SENDERS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    office.shut()
    print(json.dumps({
        "wrong": wrong, "letters": len(office.letters), "notices": len({letter.number for letter in office.letters}),
        "tries": sorted(set(Notice.objects.values_list("attempts", flat=True))),
    }))  # fmt: skip


if __name__ == "__main__":
    main()
