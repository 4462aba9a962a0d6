"""Whatever address Celery reaches the broker at, the health page counts there what Celery has sent there."""

import asyncio
import ssl
import threading
from pathlib import Path

import pytest
from celery import Celery
from kombu.exceptions import OperationalError

from compliance.service.health import QUEUE, waiting_tasks
from shared.environment import broker_of
from tests.service.programs import RedisServer

CERTIFICATE = Path(__file__).with_name("localhost.pem")  # for nobody but these tests, with its key; until 2100


class Secured:
    """What speaks TLS in front of a Redis."""

    def __init__(self, beyond: Path):
        self.beyond, self._ready = beyond, threading.Event()
        threading.Thread(target=lambda: asyncio.run(self._serve()), daemon=True).start()
        assert self._ready.wait(10)

    async def _serve(self) -> None:
        shown = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        shown.load_cert_chain(CERTIFICATE)
        server = await asyncio.start_server(self._join, "127.0.0.1", 0, ssl=shown)
        self.port, self._over = server.sockets[0].getsockname()[1], asyncio.Event()
        self._loop = asyncio.get_running_loop()
        self._ready.set()
        await self._over.wait()

    async def _join(self, asks, answers) -> None:
        beyond_answers, beyond_asks = await asyncio.open_unix_connection(self.beyond)
        await asyncio.gather(self._carry(asks, beyond_asks), self._carry(beyond_answers, answers))

    async def _carry(self, source, target) -> None:
        while data := await source.read(65536):
            target.write(data)
        target.close()

    def stop(self) -> None:
        self._loop.call_soon_threadsafe(self._over.set)


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    server = RedisServer(tmp_path_factory.mktemp("broker"))
    yield server
    server.kill()


@pytest.fixture(scope="module")
def secured(server):
    secured = Secured(server.socket)
    yield secured
    secured.stop()


@pytest.fixture
def sent(settings, server, secured):
    """What the health page counts, before and after Celery has sent one task."""

    def look(address: str) -> tuple[int, int]:
        given = address.format(port=server.port, tls=secured.port, socket=server.socket, known=CERTIFICATE)
        settings.BROKER = broker_of(given)
        assert settings.BROKER
        app = Celery(broker=settings.BROKER, set_as_current=False)
        with app.connection_for_write() as connection:
            connection.ensure_connection(max_retries=0)
            connection.default_channel.client.delete(QUEUE)
            before = waiting_tasks()
            app.send_task("reminders.settle", connection=connection)
            return before, waiting_tasks()

    return look


@pytest.mark.parametrize(
    "address",
    [
        "redis://127.0.0.1:{port}/0",
        "redis://127.0.0.1:{port}/3",
        "redis://127.0.0.1:{port}//",
        "redis+socket://{socket}",
        "redis+socket://{socket}?virtual_host=2",
        "rediss://localhost:{tls}/1?ssl_ca_certs={known}",
        "rediss://localhost:{tls}/1?ssl_cert_reqs=CERT_REQUIRED&ssl_ca_certs={known}",
        "rediss://127.0.0.1:{tls}?ssl_cert_reqs=required&ssl_ca_certs={known}",
        "rediss://localhost:{tls}/1?ssl_cert_reqs=CERT_NONE",
    ],
)
def test_what_celery_sends_is_counted(sent, address):
    assert sent(address) == (0, 1)


@pytest.mark.parametrize("asked", ["", "?ssl_cert_reqs=CERT_REQUIRED", "?ssl_cert_reqs=required"])
def test_a_certificate_that_nobody_vouches_for_is_trusted_by_neither(settings, secured, asked):
    settings.BROKER = broker_of(f"rediss://localhost:{secured.port}/0{asked}")
    with pytest.raises(OperationalError, match="certificate"):
        waiting_tasks()
    celery = Celery(broker=settings.BROKER, set_as_current=False)
    with celery.connection_for_write() as connection, pytest.raises(OperationalError, match="certificate"):
        connection.ensure_connection(max_retries=0)
