"""A network between the programs and the database, that may swallow what is sent: no answer, no refusal, no end."""

import contextlib
import socket
import threading
from pathlib import Path

GONE_AFTER = 10 + 3 * 5  # seconds: as `shared.postgresql` asks the system of the server to notice


class Network:
    """Carries each connection to `port` on to a socket. Once it has swallowed something, a connection stays dead for ever.

    The system of the server ends its side in a while, as it would by the keepalives of TCP, which the socket beyond has not.
    """

    def __init__(self, beyond: Path):
        self.beyond, self.swallows = beyond, False
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = self._server.getsockname()[1]
        self._lost = []  # kept open, or their ends would tell
        threading.Thread(target=self._take_in, daemon=True).start()

    def swallow(self) -> None:
        self.swallows = True

    def carry(self) -> None:
        """Connections that are made from now on."""
        self.swallows = False

    def shut(self) -> None:
        self._server.close()
        for end in self._lost:
            end.close()

    def _take_in(self) -> None:
        with contextlib.suppress(OSError):  # which ends it
            while True:
                self._join(self._server.accept()[0])

    def _join(self, near: socket.socket) -> None:
        far = socket.socket(socket.AF_UNIX)
        if self.swallows:
            self._lose(near, far)
            return
        try:
            far.connect(str(self.beyond))
        except OSError:  # the server is away, and says so
            near.close()
            return
        for source, target in ((near, far), (far, near)):
            threading.Thread(target=self._carry, args=[source, target], daemon=True).start()

    def _lose(self, *ends: socket.socket) -> None:
        self._lost += ends
        for end in ends:
            if end.family == socket.AF_UNIX:
                ending = threading.Timer(GONE_AFTER, _end, [end])
                ending.daemon = True
                ending.start()

    def _carry(self, source: socket.socket, target: socket.socket) -> None:
        try:
            while data := source.recv(65536):
                if self.swallows:
                    break
                target.sendall(data)
        except OSError:
            pass
        if self.swallows:
            self._lose(source, target)
            return
        for end in (source, target):
            _end(end)


def _end(end: socket.socket) -> None:
    with contextlib.suppress(OSError):
        end.shutdown(socket.SHUT_RDWR)
    end.close()
