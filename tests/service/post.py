"""A mail server on a port of its own that accepts, refuses, hangs, greylists, or takes a message and never says so."""

import asyncio
import re
import time
from collections import Counter
from dataclasses import dataclass
from email import message_from_bytes, policy
from email.message import EmailMessage

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP

from tests.service.programs import free_port

MODES = ("accept", "refuse", "hang", "greylist", "forget")


@dataclass
class Letter:
    """What the server took over, when, and whether the sender got to know. `cut` is when the sender was gone, if the answer was
    the last that it could have heard: whatever came after it would show that it did."""

    recipient: str
    message: EmailMessage
    answered: bool
    taken: float = 0.0
    cut: float | None = None

    @property
    def subject(self) -> str:
        return self.message["Subject"]

    @property
    def number(self) -> str:
        return self.message["Message-ID"]

    @property
    def notice(self) -> int:
        """The number of the notice that it is; 0 if it is another mail."""
        found = re.match(r"<notice-(\d+)-", self.number or "")
        return int(found[1]) if found else 0


class _Line(SMTP):
    """One conversation, which remembers the letter that no further word has come after."""

    last: Letter | None = None

    def heard(self) -> None:
        self.last = None

    def connection_lost(self, error):
        if self.last is not None:
            self.last.cut = time.monotonic()
        super().connection_lost(error)


class _Lines(Controller):
    def factory(self):
        return _Line(self.handler, **self.SMTP_kwargs)

    def cancel_tasks(self, stop_loop: bool = True):
        """The end: who waits for an answer hears none."""
        for letter in self.handler.in_hand:
            letter.answered = False
        super().cancel_tasks(stop_loop)


class PostOffice:
    """`mode` may be changed at any time. `letters` holds every message that was accepted, in order; `refused`
    the subjects of those that were turned down for good. `reads_for` as many seconds it looks at one before it answers."""

    def __init__(self):
        self.mode, self.letters, self.refused, self.asked = "accept", [], set(), Counter()
        self.unanswered = Counter()  # tries that were never answered, by the number of the notice
        self.in_hand: list[Letter] = []  # taken over, and about to be answered
        self.reads_for = 0.0
        self.port = free_port()
        self.controller = None
        self.open()

    @property
    def url(self) -> str:
        return f"smtp://127.0.0.1:{self.port}"

    def open(self) -> None:
        if self.controller is None:
            self.controller = _Lines(self, hostname="127.0.0.1", port=self.port)
            self.controller.start()

    def shut(self) -> None:
        """No longer there: connections are refused."""
        if self.controller is not None:
            self.controller.stop()
            self.controller = None

    async def handle_MAIL(self, server, session, envelope, address, options):  # noqa: N802  the server's name for it
        server.heard()
        envelope.mail_from = address
        envelope.mail_options.extend(options)
        return "250 OK"

    async def handle_RSET(self, server, session, envelope):  # noqa: N802
        server.heard()
        return "250 OK"

    async def handle_QUIT(self, server, session, envelope):  # noqa: N802
        server.heard()
        return "221 Bye"

    async def handle_DATA(self, server, session, envelope):  # noqa: N802
        message = message_from_bytes(envelope.content, policy=policy.default)
        recipient, mode = envelope.rcpt_tos[0], self.mode
        self.asked[mode] += 1
        if mode == "refuse":
            self.refused.add(message["Subject"])
            return "554 5.7.1 Not from you"
        letter = Letter(recipient, message, answered=mode != "forget", taken=time.monotonic())
        if mode in ("hang", "forget"):
            self.unanswered[letter.notice] += 1
        if mode == "hang":
            await asyncio.sleep(3600)
        if mode == "greylist" and self._first_time(recipient, message["Subject"]):
            return "451 4.7.1 Come back later"
        server.last = letter
        self.letters.append(letter)
        if mode == "forget":
            server.transport.abort()
        self.in_hand.append(letter)
        try:
            await asyncio.sleep(self.reads_for)
        finally:
            self.in_hand = [each for each in self.in_hand if each is not letter]
        return "250 2.0.0 Taken"

    def _first_time(self, *who) -> bool:
        self.asked[who] += 1
        return self.asked[who] == 1
