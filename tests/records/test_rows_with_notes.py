"""Rows of a printed table that carry a note over the full width."""

import io
import re
from datetime import UTC, datetime

from pypdf import PdfReader

from shared.printing.flow import Writer
from shared.printing.page import Imprint, Masthead
from shared.printing.table import Row
from tests.printed_text import words_on

HEAD = Masthead(business="Larkfield", site="Alder", title="Rows", period="March")
IMPRINT = Imprint(printed_by="Rue", printed_at=datetime(2026, 4, 1, tzinfo=UTC), zone=UTC)


def pages_of(rows) -> list[str]:
    out = io.BytesIO()
    with Writer(out, masthead=HEAD, imprint=IMPRINT) as writer:
        writer.table(["Food", "Reading"], rows)
    return list(map(words_on, PdfReader(io.BytesIO(out.getvalue())).pages))


def strokes_of(rows) -> int:
    """How many lines a page strikes through or rules."""
    out = io.BytesIO()
    with Writer(out, masthead=HEAD, imprint=IMPRINT) as writer:
        writer.table(["Food", "Reading"], rows)
    return PdfReader(io.BytesIO(out.getvalue())).pages[0].get_contents().get_data().count(b" l S Q")


def test_a_note_follows_its_row():
    assert "Soup 7.5 Lid was off. Rice 3.0" in pages_of([Row(("Soup", "7.5"), note="Lid was off."), ("Rice", "3.0")])[0]


def test_a_row_without_cells_is_its_note_alone():
    assert "Reading Decided together. Soup 7.5" in pages_of([Row(note="Decided together."), ("Soup", "7.5")])[0]


def test_a_note_under_a_void_row_is_not_struck():
    plain = strokes_of([Row(("Soup", "7.5"), note="Typed wrong.")])
    assert strokes_of([Row(("Soup", "7.5"), void=True, note="Typed wrong.")]) == plain + 2


def test_a_note_alone_that_is_void_is_struck():
    assert strokes_of([Row(note="Eaten.", void=True)]) == strokes_of([Row(note="Eaten.")]) + 1


def test_a_note_longer_than_a_page_goes_on_without_losing_a_word():
    words = " ".join(f"word{n:04d}" for n in range(2500))
    pages = pages_of([Row(("Soup", "7.5"), note=words)])
    assert len(pages) > 2
    assert re.findall(r"word\d{4}", " ".join(pages)) == words.split()
