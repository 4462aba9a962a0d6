"""How much may be sent: real sockets on the server of `start`, and what any other server would hand over."""

import io
import socket
import threading
from contextlib import contextmanager, suppress

import pytest
import waitress.buffers
from django.core.handlers.wsgi import WSGIRequest
from django.core.signing import TimestampSigner
from django.core.wsgi import get_wsgi_application
from django.http.multipartparser import MultiPartParserError
from django.test import RequestFactory
from hypothesis import given
from hypothesis import strategies as st

from compliance.readings.importing import uploads
from compliance.readings.importing.uploads import MOST_SENT, address_for_files
from compliance.service.bodies import MOST_TYPED, PASSED_OVER, most_taken, small_enough
from compliance.service.management.commands.start import Command

TYPED, FILES = "/health/", "/readings/import/"  # the first asks no database to say that it takes no POST
CHUNK = b"10000\r\n" + b"x" * 0x10000 + b"\r\n"


@pytest.fixture(scope="module")
def port():
    """The server as `start` makes it, in a thread."""
    command = Command()
    server = command._listen("127.0.0.1", 0)
    command._application = get_wsgi_application()
    threading.Thread(target=server.run, daemon=True).start()
    yield server.effective_port
    server.close()


@pytest.fixture
def nothing_on_disk(monkeypatch):
    def refuse(*args):
        raise AssertionError("a body went to the disk")

    monkeypatch.setattr(waitress.buffers.TempfileBasedBuffer, "__init__", refuse)


@contextmanager
def asked(port, path, *headers):
    with socket.create_connection(("127.0.0.1", port), timeout=20) as sock:
        sock.sendall("\r\n".join([f"POST {path} HTTP/1.1", "Host: localhost", *headers, "", ""]).encode())
        yield sock


def told(sock) -> tuple[int, str]:
    """What the server answers; it closes the connection or the body is short."""
    answer = b""
    while b"</html>" not in answer and (more := sock.recv(65536)):
        answer += more
    return int(answer.split()[1]), answer.decode()


def sent_in_chunks(sock, most: int) -> int:
    """Send chunks without end; how many bytes the server let itself be sent."""
    sent = 0
    try:
        while sent < most:
            sent += sock.send(CHUNK)
    except OSError:
        pass
    return sent


@pytest.mark.parametrize("path", [TYPED, FILES, "/sign-in/", "/nowhere/", f"{FILES}?file:1tXAcV:forged"])
@pytest.mark.parametrize("length", [MOST_TYPED + 1, PASSED_OVER + 1, 150_000_000, 10**30])
def test_what_is_told_to_be_too_large_is_refused_before_it_is_sent(port, path, length):
    with asked(port, path, f"Content-Length: {length}", "Expect: 100-continue") as sock:
        status, page = told(sock)
    assert status == 413 and "split a larger one into several" in page and "Content-Security-Policy" in page


def test_what_is_too_large_for_a_file_is_refused_in_half_a_day_and_what_is_not_is_asked_for(port, monkeypatch):
    for length, answer in [(MOST_SENT + 1, 413), (MOST_SENT, 100)]:
        with asked(port, address_for_files(), f"Content-Length: {length}", "Expect: 100-continue") as sock:
            assert int(sock.recv(65536).split()[1]) == answer
    monkeypatch.setattr(uploads, "SENT_WITHIN", -1)
    with asked(port, address_for_files(), f"Content-Length: {MOST_TYPED + 1}", "Expect: 100-continue") as sock:
        assert told(sock)[0] == 413


def test_a_browser_that_sends_a_file_all_the_same_is_shown_why_not_and_nothing_of_it_is_kept(port, nothing_on_disk):
    with asked(port, FILES, f"Content-Length: {MOST_SENT + 1}") as sock:
        sock.sendall(b"x" * (MOST_SENT + 1))
        assert told(sock)[0] == 413


def test_a_body_of_no_told_length_ends_where_it_is_too_large(port, nothing_on_disk):
    with asked(port, TYPED, "Transfer-Encoding: chunked") as sock:
        assert (
            MOST_TYPED <= sent_in_chunks(sock, 40 * MOST_TYPED) < 20 * MOST_TYPED
        )  # the rest is what the sockets hold


def test_a_body_that_may_be_sent_arrives_and_stays_in_memory(port, nothing_on_disk):
    with asked(port, TYPED, f"Content-Length: {MOST_TYPED}") as sock:
        sock.sendall(b"x" * MOST_TYPED)
        assert sock.recv(65536).split()[1] == b"405"


def test_a_body_that_comes_drop_by_drop_is_no_larger(port, nothing_on_disk):
    with asked(port, TYPED, "Transfer-Encoding: chunked") as sock:
        for _ in range(100):
            sock.sendall(b"1\r\nx\r\n")
        assert MOST_TYPED <= 600 + sent_in_chunks(sock, 40 * MOST_TYPED) < 20 * MOST_TYPED


@given(st.integers(min_value=0, max_value=10**12), st.sampled_from(["", "+", " ", "0"]))
def test_any_other_server_hands_over_what_is_small_enough_and_django_reads_no_more(length, before):
    request = RequestFactory().generic("POST", TYPED, CONTENT_LENGTH=f"{before}{length}")
    reached = small_enough(lambda request: "reached")(request)
    assert (reached == "reached") == (length <= MOST_TYPED)


@pytest.mark.parametrize("length", [None, "", "x", "-1", "9" * 5000, "150000000"])
def test_nothing_is_read_of_a_body_whose_length_is_untold_or_untrue(length):
    class Body(io.BytesIO):
        def read(self, *args):
            raise AssertionError("it was read")

    environ = RequestFactory().post(FILES, {"a": "b"}).environ | {"wsgi.input": Body(), "CONTENT_LENGTH": length}
    if length is None:
        del environ["CONTENT_LENGTH"]

    def look(request):
        with suppress(MultiPartParserError):  # of which Django's own handler makes a 400
            assert not request.POST and not request.FILES

    answer = small_enough(look)(WSGIRequest(environ))
    assert (answer is None) == (length != "150000000")


def test_an_address_for_files_is_no_other_address_and_no_other_signature():
    path, query = address_for_files().split("?")
    assert most_taken(path, query) == MOST_SENT
    assert most_taken(TYPED, query) == most_taken(path, query[:-1]) == most_taken(path, f"{query}&x=1") == MOST_TYPED
    assert most_taken(path, TimestampSigner().sign("file")) == MOST_TYPED
