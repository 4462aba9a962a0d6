"""A mail server on a port of its own that accepts, refuses, hangs, greylists, or takes a message and never says so."""

import asyncio
from collections import Counter
from dataclasses import dataclass
from email import message_from_bytes, policy
from email.message import EmailMessage

from aiosmtpd.controller import Controller

from tests.engine.programs import free_port

MODES = ("accept", "refuse", "hang", "greylist", "forget")


@dataclass(frozen=True)
class Letter:
    """What the server took over, and whether the sender got to know."""

    recipient: str
    message: EmailMessage
    answered: bool

    @property
    def subject(self) -> str:
        return self.message["Subject"]

    @property
    def number(self) -> str:
        return self.message["Message-ID"]


class PostOffice:
    """`mode` may be changed at any time. `letters` holds every message that was accepted, in order; `refused`
    the subjects of those that were turned down for good."""

    def __init__(self):
        self.mode, self.letters, self.refused, self.asked = "accept", [], set(), Counter()
        self.port = free_port()
        self.controller = None
        self.open()

    @property
    def url(self) -> str:
        return f"smtp://127.0.0.1:{self.port}"

    def open(self) -> None:
        if self.controller is None:
            self.controller = Controller(self, hostname="127.0.0.1", port=self.port)
            self.controller.start()

    def shut(self) -> None:
        """No longer there: connections are refused."""
        if self.controller is not None:
            self.controller.stop()
            self.controller = None

    async def handle_DATA(self, server, session, envelope):  # noqa: N802  the server's name for it
        message = message_from_bytes(envelope.content, policy=policy.default)
        recipient, mode = envelope.rcpt_tos[0], self.mode
        self.asked[mode] += 1
        if mode == "refuse":
            self.refused.add(message["Subject"])
            return "554 5.7.1 Not from you"
        if mode == "hang":
            await asyncio.sleep(3600)
        if mode == "greylist" and self._first_time(recipient, message["Subject"]):
            return "451 4.7.1 Come back later"
        self.letters.append(Letter(recipient, message, answered=mode != "forget"))
        if mode == "forget":
            server.transport.abort()
        return "250 2.0.0 Taken"

    def _first_time(self, *who) -> bool:
        self.asked[who] += 1
        return self.asked[who] == 1
