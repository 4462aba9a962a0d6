"""The network between a browser and the server, to be cut at any moment: also between a form and its answer."""

import socket
import threading
from contextlib import suppress
from urllib.parse import urlsplit


class Cable:
    """A port of its own that leads to the server. While it is cut nothing gets through, and what was under way breaks off."""

    def __init__(self, address: str):
        url = urlsplit(address)
        self._server = (url.hostname, url.port)
        self._whole, self._ends, self._lock = True, set(), threading.Lock()
        self._door = socket.create_server(("127.0.0.1", 0))
        self.address = f"http://127.0.0.1:{self._door.getsockname()[1]}/"
        threading.Thread(target=self._let_in, daemon=True).start()

    def cut(self) -> None:
        with self._lock:
            self._whole = False
            ends, self._ends = self._ends, set()
        for end in ends:
            _end(end)

    def mend(self) -> None:
        with self._lock:
            self._whole = True

    def close(self) -> None:
        self.cut()
        _end(self._door)

    def _let_in(self) -> None:
        while True:
            try:
                visitor = self._door.accept()[0]
            except OSError:
                return
            with self._lock:
                whole = self._whole
            if not whole:
                _end(visitor)
                continue
            try:
                self._join(visitor, socket.create_connection(self._server))
            except OSError:
                _end(visitor)

    def _join(self, visitor: socket.socket, server: socket.socket) -> None:
        with self._lock:
            self._ends |= {visitor, server}
        for here, there in ((visitor, server), (server, visitor)):
            threading.Thread(target=self._carry, args=(here, there), daemon=True).start()

    def _carry(self, here: socket.socket, there: socket.socket) -> None:
        with suppress(OSError):
            while data := here.recv(65536):
                there.sendall(data)
        for end in (here, there):
            with self._lock:
                self._ends.discard(end)
            _end(end)


def _end(end: socket.socket) -> None:
    with suppress(OSError):
        end.shutdown(socket.SHUT_RDWR)
    end.close()
