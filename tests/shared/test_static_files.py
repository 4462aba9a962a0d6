"""Static files: kept for a year by their hashed names, compressed, and found without a step of building."""

import gzip
import re

import pytest
from django.conf import settings
from django.http import HttpResponseNotFound
from django.templatetags.static import static

from shared.static_files import StaticFiles, hashed_name

ACCEPTS = {"accept-encoding": "gzip, deflate, br"}
YEAR = "max-age=31536000, public, immutable"
SHEET = "noughtbook/noughtbook.css"


def text_of(answer) -> bytes:
    body = b"".join(answer.streaming_content)
    return gzip.decompress(body) if answer.get("Content-Encoding") == "gzip" else body


@pytest.mark.parametrize("name", [SHEET, "noughtbook/app.js", "noughtbook/mark.svg", "django_htmx/htmx-2.min.js"])
def test_a_file_is_kept_for_a_year_by_a_name_that_says_what_is_in_it(client, name):
    address = static(name)
    assert re.fullmatch(r"/static/.+\.[0-9a-f]{12}\.(css|js|svg)", address)
    answer = client.get(address)
    assert answer.headers["Cache-Control"] == YEAR
    assert text_of(answer) == text_of(client.get(f"/static/{name}"))


def test_a_plain_name_and_that_of_another_version_are_kept_for_a_minute(client):
    for address in (f"/static/{SHEET}", "/static/noughtbook/noughtbook.0123456789ab.css"):
        answer = client.get(address)
        assert answer.headers["Cache-Control"] == "max-age=60, public"
        assert text_of(answer) == (settings.BASE_DIR / "shared/static" / SHEET).read_bytes()


def test_a_page_names_nothing_that_is_not_kept(client, db):
    page = client.get("/sign-in/").content.decode()
    named = re.findall(r'(?:href|src)="(/static/[^"]+)"', page)
    assert len(named) >= 4
    assert {client.get(address).headers["Cache-Control"] for address in named} == {YEAR}


def test_the_style_sheet_names_no_other_file():
    """Its own name would not change with theirs."""
    assert "url(" not in (settings.BASE_DIR / "shared/static" / SHEET).read_text()


def test_what_is_not_there_is_not_found(client, db):
    assert client.get("/static/noughtbook/none.css").status_code == 404
    assert hashed_name("noughtbook/none.css") == "noughtbook/none.css"


def test_a_file_is_sent_compressed_and_for_who_cannot_read_that_as_it_is(client):
    small, plain = client.get(static(SHEET), headers=ACCEPTS), client.get(static(SHEET))
    assert small.headers["Content-Encoding"] == "gzip"
    assert small.headers["Vary"] == plain.headers["Vary"] == "Accept-Encoding"
    assert "Content-Encoding" not in plain.headers
    packed = b"".join(small.streaming_content)
    assert gzip.decompress(packed) == text_of(plain)
    assert len(packed) < 10_000


def test_what_a_browser_has_and_a_piece_of_a_file_come_as_they_are(client):
    address = static(SHEET)
    known = client.get(address, headers=ACCEPTS)
    again = client.get(address, headers=ACCEPTS | {"if-modified-since": known.headers["Last-Modified"]})
    assert (again.status_code, text_of(again)) == (304, b"")
    piece = client.get(address, headers=ACCEPTS | {"range": "bytes=0-9"})
    assert (piece.status_code, len(text_of(piece))) == (206, 10)
    assert "Content-Encoding" not in {*again.headers, *piece.headers}


def test_in_debug_files_have_their_plain_names_and_are_asked_for_each_time(rf, settings):
    settings.DEBUG = True
    assert static(SHEET) == f"/static/{SHEET}"
    answer = StaticFiles(HttpResponseNotFound)(rf.get(static(SHEET)))
    assert answer.headers["Cache-Control"] == "max-age=0, public"
    assert text_of(answer).startswith(b"/*")
