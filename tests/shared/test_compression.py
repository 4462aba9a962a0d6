"""What is text is sent compressed; a file that is written while it is sent stays so, and no page is kept in memory for it."""

import gzip
import tracemalloc
import zlib
from random import Random

from django.http import StreamingHttpResponse
from django.urls import reverse

from shared.middleware import Compressed

ACCEPTS = {"accept-encoding": "gzip, deflate, br"}
LINES = 5_000


def test_a_page_is_sent_by_less_than_half_of_its_bytes(as_person, world):
    client, address = as_person(world.manager), reverse("today_site", args=[world.site.pk])
    small, plain = client.get(address, headers=ACCEPTS), client.get(address)
    assert small.headers["Content-Encoding"] == "gzip"
    assert int(small.headers["Content-Length"]) == len(small.content) < len(plain.content) / 2
    assert "Accept-Encoding" in small.headers["Vary"]
    assert b"</html>" in gzip.decompress(small.content)


def test_the_same_page_has_another_length_each_time(as_person, world):
    client, address = as_person(world.manager), reverse("today_site", args=[world.site.pk])
    length = len(client.get(address, headers=ACCEPTS).content)
    assert any(len(client.get(address, headers=ACCEPTS).content) != length for _ in range(12))


def test_a_printed_record_is_compressed_already(as_person, world):
    printed = as_person(world.reader).get(
        reverse("record_print"), {"site": world.site.pk, "from": "2026-01-01", "to": "2026-01-07"}, headers=ACCEPTS
    )
    assert "Content-Encoding" not in printed.headers
    assert b"".join(printed.streaming_content).startswith(b"%PDF")


def test_readings_as_a_file_come_compressed_and_streamed(as_person, world):
    answer = as_person(world.reader).get(reverse("reading_export"), headers=ACCEPTS)
    assert answer.streaming
    assert answer.headers["Content-Encoding"] == "gzip"
    assert gzip.decompress(b"".join(answer.streaming_content)).startswith(b"\xef\xbb\xbfsite,")


def test_a_long_file_is_sent_while_it_is_written_and_never_held(rf):
    written, chance = 0, Random(7)

    def lines():
        nonlocal written
        for written in range(1, LINES + 1):
            yield f"Alder School,P1,{written},{chance.randbytes(500).hex()}\r\n"

    answer = Compressed(lambda request: StreamingHttpResponse(lines()))(rf.get("/", headers=ACCEPTS))
    unpack, length = zlib.decompressobj(wbits=31), 0
    tracemalloc.start()
    for number, piece in enumerate(answer.streaming_content):
        length += len(unpack.decompress(piece))
        assert number > 2 or written < LINES / 10
    assert tracemalloc.get_traced_memory()[1] < 600_000  # of five millions
    tracemalloc.stop()
    assert length > 1000 * LINES
