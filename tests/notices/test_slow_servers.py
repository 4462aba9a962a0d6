"""Mail servers that take their time: for the answer to a whole message (RFC 5321, 4.5.3.2.6 allows ten minutes), or for ever.

The timeout of the settings is a fifth of a second here, which no wait below stays under.
"""

import asyncio
import socket
import threading
import time
from contextlib import closing

import pytest
from django.db.models.functions import Now
from django.utils import timezone

from compliance.notices import sending
from compliance.notices.models import Notice, State
from compliance.notices.sending import send_batch
from tests.engine.post import PostOffice

TIMEOUT = 0.2


class Thorough(PostOffice):
    """Looks at each message for so many seconds before it says anything."""

    looks = 0.0

    async def handle_DATA(self, server, session, envelope):  # noqa: N802
        await asyncio.sleep(self.looks)
        return await super().handle_DATA(server, session, envelope)


class Dripping:
    """Answers so many times as it should, and then says the same answer line by line without ever ending it."""

    RIGHT = (b"220 here", b"250 well", b"250 well", b"250 well", b"354 go on", b"250 taken")

    def __init__(self, well: int):
        self._well, self.dripped = well, 0
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port = self._door.getsockname()[1]
        threading.Thread(target=self._serve, daemon=True).start()

    def close(self) -> None:
        self._door.close()

    def _serve(self) -> None:
        line, _ = self._door.accept()
        with closing(line), line.makefile("rb") as asked:
            try:
                for answer in self.RIGHT[: self._well]:
                    line.sendall(answer + b"\r\n")
                    while asked.readline() not in (b"", b".\r\n") and answer[:3] == b"354":
                        pass
                while True:
                    line.sendall(self.RIGHT[self._well].replace(b" ", b"-") + b"\r\n")
                    self.dripped += 1
                    time.sleep(TIMEOUT / 2)
            except OSError:
                pass


@pytest.fixture
def write(world, mailing, settings):
    settings.EMAIL_BACKEND = "compliance.notices.post.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_TIMEOUT = "127.0.0.1", TIMEOUT

    def made(port):
        settings.EMAIL_PORT = port
        return Notice.objects.create(
            kind="failed", person=world.manager, about="1", site=world.site, subject="Alder School: stop using probe P1",
            text="Stop", html="<p>Stop</p>", link="/", in_page=True, state=State.WAITING,
        )  # fmt: skip

    return made


@pytest.fixture
def thorough():
    office = Thorough()
    yield office
    office.shut()


def test_a_server_that_looks_at_a_message_longer_than_the_timeout_gets_it_once(write, thorough):
    thorough.looks = 5 * TIMEOUT
    notice = write(thorough.port)
    send_batch(seconds=60)
    notice.refresh_from_db()
    assert (notice.state, notice.attempts, len(thorough.letters)) == (State.SENT, 1, 1)


def test_who_waits_for_an_answer_holds_the_lease_and_meanwhile_nobody_else_begins(write, thorough, monkeypatch):
    """So that one sender at most waits for a slow server, and a dead one is known by its lease."""
    thorough.looks = 8 * TIMEOUT
    notice, seen = write(thorough.port), []
    held = sending.hold

    def holding(*given):
        held(*given)
        seen.append(sending.somebody_waits())
        Notice.objects.update(leased_at=Now() - 2 * sending.SLOW)

    monkeypatch.setattr(sending, "hold", holding)
    send_batch(seconds=60)
    notice.refresh_from_db()
    assert (notice.state, len(thorough.letters)) == (State.SENT, 1)
    assert len(seen) > 5 and not seen[0] and all(seen[1:])
    assert not sending.somebody_waits()


def test_nothing_is_begun_while_another_waits_for_long_and_lives(write, thorough):
    notice = write(thorough.port)
    waiting = Notice.objects.get()
    waiting.pk, waiting.about, waiting.state = None, "2", State.LEASED
    waiting.leased_at, waiting.leased_until = timezone.now() - 2 * sending.SLOW, timezone.now() + sending.SLOW
    waiting.save()
    assert send_batch() == 0
    Notice.objects.filter(about="2").update(leased_until=timezone.now())
    assert send_batch() == 2
    notice.refresh_from_db()
    assert notice.state == State.SENT


def test_when_the_time_of_the_batch_is_over_the_answer_is_waited_for_no_longer_and_the_try_may_have_arrived(
    write, thorough
):
    thorough.looks = 3600
    notice = write(thorough.port)
    send_batch(seconds=1)
    notice.refresh_from_db()
    assert (notice.state, notice.attempts, notice.cut_short) == (State.WAITING, 1, 1)


@pytest.mark.parametrize("well, unsure", [(0, 0), (3, 0), (5, 1)])
def test_a_server_that_drips_is_left_when_its_time_is_over(write, well, unsure):
    """In its greeting, before the message is handed over, and after."""
    with closing(Dripping(well)) as server:
        notice = write(server.port)
        send_batch(seconds=1.5)
        notice.refresh_from_db()
        assert (notice.state, notice.attempts, notice.cut_short) == (State.WAITING, 1, unsure)
        assert server.dripped > 2
        assert notice.answered.startswith("No answer: ")
