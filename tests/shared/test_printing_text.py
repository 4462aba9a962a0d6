"""What people typed: it is shown as typed, or its characters are named; it never acts and never vanishes."""

import io
from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from shared.printing.flow import Writer
from shared.printing.fonts import REGULAR, coverage
from shared.printing.page import Imprint, Masthead
from shared.printing.text import clean, measure, shorten, visual, wrap


def read(typed: str) -> str:
    """Typed text put through every door of the writer, read back with pypdf."""
    out = io.BytesIO()
    masthead = Masthead(business=typed, site=typed, title=typed, period=typed)
    imprint = Imprint(printed_by=typed, printed_at=datetime(2025, 7, 1, tzinfo=UTC), zone=UTC, note=typed)
    with Writer(out, masthead=masthead, imprint=imprint) as writer:
        writer.heading(typed)
        writer.paragraph(typed)
        writer.facts([(typed, typed)])
        writer.facts([(typed, typed), ("b", typed)], columns=2)
        writer.caution(typed)
        writer.table([typed, "other"], [(typed, "x")], caption=typed, markers=True)
        writer.signature(typed, typed, typed)
        with writer.together():
            writer.paragraph(typed)
    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(out.getvalue())).pages)


@pytest.mark.parametrize(
    "typed",
    ["<b>&</b>", "</para><para>x", "a) Tj ET (b", "back\\slash (open", "{{ x }} %s %(a)s"],
)
def test_markup_and_operators_are_only_text(typed):
    assert typed.replace(" ", "") in "".join(read(typed).split())


@pytest.mark.parametrize(
    ("typed", "shown"),
    [
        ("bell\x07nul\x00", "bell[U+0007]nul[U+0000]"),
        ("turned\u202egnp", "turned[U+202E]gnp"),
        ("thanks 👍", "thanks [thumbs up sign]"),
        ("中文", "[U+4E2D][U+6587]"),
        ("half \ud800", "half [U+D800]"),
        ("a\u200bb\ufe0f", "ab"),
        ("e\u0301", "é"),
        ("one\r\ntwo\rthree\u2028four", "one\ntwo\nthree\nfour"),
        ("−18 °C ≥ 63", "−18 °C ≥ 63"),
    ],
)
def test_what_has_no_glyph_is_named(typed, shown):
    assert clean(typed) == shown
    read(typed)


def test_a_word_of_5000_characters_is_broken_and_complete():
    word = "".join(chr(97 + n % 26) for n in range(5000))
    assert word in "".join(read(word).split())


def test_hebrew_stands_from_right_to_left_and_arabic_is_joined():
    # Unicode Standard Annex 9: a run of right-to-left letters is laid out in reverse.
    assert visual(clean("אבג")) == "גבא"
    # Unicode code charts, Arabic Presentation Forms-B: initial seen, medial lam, final alef, isolated meem.
    assert visual(clean("سلام")) == "\ufee1\ufe8e\ufee0\ufeb3"
    assert "גבא" in read("אבג") or "אבג" in read("אבג")


@settings(max_examples=300)
@given(st.text())
def test_cleaned_text_has_a_glyph_for_every_character(typed):
    assert all(c == "\n" or ord(c) in coverage() for c in clean(typed))


@settings(max_examples=200)
@given(st.text(max_size=200), st.floats(20, 400))
def test_lines_fit_and_lose_nothing(typed, width):
    lines = wrap(typed, REGULAR, 9, width)
    assert all(measure(line, REGULAR, 9) <= width + 1e-6 for line in lines)
    assert "".join("".join(lines).split()) == "".join(clean(typed).split())


def test_shortened_text_says_that_it_was_cut():
    short = shorten("a long name of a kitchen", REGULAR, 9, 60)
    assert short.endswith("…") and measure(short, REGULAR, 9) <= 60


def test_a_column_too_narrow_for_any_text_is_refused():
    with pytest.raises(ValueError, match="too narrow"):
        wrap("x", REGULAR, 9, 5)
