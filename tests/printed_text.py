"""The text of what was printed, from the operators of its pages.

pypdf finds the pages, their fonts and what their characters mean; its own reading of the text, which must do for the pages
of anybody, takes as long as the printing. Ours hold a string for each line of a cell, in order.
"""

import re
from functools import lru_cache

from pypdf import PageObject, PdfReader

TOKEN = re.compile(rb"\b(?:BT|Tm|Td|T\*)(?=\s)|/(\S+) [\d.]+ Tf|\(((?:[^()\\]|\\.)*)\) Tj|([(<])", re.DOTALL)
ESCAPED = re.compile(rb"\\([0-7]{1,3}|.)", re.DOTALL)
NAMED = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f"}
MEANT = re.compile(rb"<(\w\w)> <(\w{4})>")


def words_of(reader: PdfReader) -> str:
    """The text of all pages with single spaces, so that line ends do not matter."""
    return " ".join(map(words_on, reader.pages))


def words_on(page: PageObject) -> str:
    return " ".join(text_on(page).split())


def text_on(page: PageObject) -> str:
    """Line by line as they were drawn."""
    content = page.get_contents().get_data()
    fonts = {name: _meaning(font.get_object()) for name, font in page["/Resources"]["/Font"].items()}
    said, font = [], {}
    for found in TOKEN.finditer(content):
        if found[3]:
            raise ValueError(f"A string is shown that is not read here: {content[found.start() - 80 : found.end()]!r}")
        if found[1]:
            font = fonts["/" + found[1].decode()]
        else:
            said.append("\n" if found[2] is None else _unescaped(found[2]).decode("latin-1").translate(font))
    return "".join(said)


def _unescaped(text: bytes) -> bytes:
    return ESCAPED.sub(_octet, text) if b"\\" in text else text


def _octet(found: re.Match) -> bytes:
    return bytes([int(found[1], 8)]) if found[1].isdigit() else NAMED.get(found[1], found[1])


def _meaning(font) -> dict[int, str]:
    return _table(font["/ToUnicode"].get_data()) if "/ToUnicode" in font else {}


@lru_cache(64)
def _table(told: bytes) -> dict[int, str]:
    return {int(code, 16): chr(int(letter, 16)) for code, letter in MEANT.findall(told)}
