"""Django's mail by SMTP that asks before it hands a message over, waits for the answer to that as long as it may, and
remembers it.

Everything before is waited for as the settings say. The answer to a whole message may take far longer, while the server
looks at it; whoever leaves too early sends it twice (RFC 5321, 4.5.3.2.6; RFC 1047).
"""

import selectors
import smtplib
import socket
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from threading import Timer

from django.core.mail.backends import smtp

GO_ON = 354  # RFC 5321, 4.1.1.4: the message may come


class _Careful:
    taken_with = (0, b"")
    unsure = False  # whether a message is on its way that nothing has been said of

    def __init__(self, *args, backend: "EmailBackend", **kwargs):
        self._backend = backend
        backend.cut.line = self
        super().__init__(*args, **kwargs)

    def getreply(self):
        if self.unsure and self.sock:
            self._wait()
        code, said = super().getreply()
        self.unsure = code == GO_ON or (self.unsure and code <= 0)
        return code, said

    def _wait(self):
        """Until the server says something, or the line is cut."""
        with selectors.DefaultSelector() as heard:
            heard.register(self.sock, selectors.EVENT_READ)
            while not heard.select(self._backend.every):
                self._backend.still()

    def data(self, msg):
        seconds = self._backend.hand_over()
        self._backend.cut.after(seconds)
        self.sock.settimeout(seconds)
        try:
            self.taken_with = super().data(msg)
        finally:
            if self.sock:
                self.sock.settimeout(self.timeout)
        return self.taken_with


class _Plain(_Careful, smtplib.SMTP):
    pass


class _Secure(_Careful, smtplib.SMTP_SSL):
    pass


class _Cut:
    """Ends a conversation after so many seconds; a timeout of the socket is over one read only, and a server may drip."""

    def __init__(self):
        self.line: _Careful | None = None
        self._timer: Timer | None = None

    def after(self, seconds: float) -> None:
        self.off()
        self._timer = Timer(seconds, self._cut)
        self._timer.daemon = True
        self._timer.start()

    def off(self) -> None:
        if self._timer:
            self._timer.cancel()

    def _cut(self) -> None:
        line = getattr(self.line, "sock", None)
        if line is not None:
            with suppress(OSError):
                socket.socket.shutdown(line, socket.SHUT_RDWR)


class EmailBackend(smtp.EmailBackend):
    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.cut = _Cut()
        self.every = 10.0
        self.hand_over: Callable[[], float] = lambda: self.timeout
        self.still: Callable[[], None] = lambda: None

    @property
    def connection_class(self):
        return partial(_Secure if self.use_ssl else _Plain, backend=self)

    @property
    def unsure(self) -> bool:
        """Whether the server has the last message, or part of it, and has not said what it makes of it."""
        return getattr(self.cut.line, "unsure", False)

    def deliver(
        self, message, *, within: float, hand_over: Callable[[], float], still: Callable[[], None], every: float
    ) -> str:
        """Send one message; gives the answer, such as "250 2.0.0 Taken". Raises what Django's mail does.

        `within` so many seconds it comes to handing it over, or ends. Then `hand_over` is asked: it tells for how many
        seconds the answer is waited for, and keeps the message back by raising, after which `close()` is to be called. While
        it is waited for, `still` is called `every` so many seconds.
        """
        self.hand_over, self.still, self.every = hand_over, still, every
        self.cut.after(within)
        try:
            self.open()
            message.send()
        finally:
            self.cut.off()
        code, said = getattr(self.connection, "taken_with", (0, b""))
        return f"{code} {said.decode(errors='replace')}" if code else ""
