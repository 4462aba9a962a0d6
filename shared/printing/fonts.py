"""The two faces that everything printed is set in, and which characters they can show.

DejaVu Sans Condensed covers the Latin, Greek, Cyrillic, Hebrew and Arabic scripts and many signs; its licence is beside
it.
"""

from functools import cache
from pathlib import Path
from threading import Lock

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

REGULAR = "DejaVuSansCondensed"
BOLD = "DejaVuSansCondensed-Bold"
FOLDER = Path(__file__).parent / "fonts"
_lock = Lock()


@cache
def face(name: str) -> TTFont:
    """The registered face, read from its file on first use.

    Raises:
        ValueError: for a name that is neither REGULAR nor BOLD.
    """
    if name not in (REGULAR, BOLD):
        raise ValueError(f"No face {name!r} is shipped; use REGULAR or BOLD.")
    with _lock:
        if name not in pdfmetrics.getRegisteredFontNames():
            # Readable ASCII keeps the codes of plain text the same in every document; pens rely on it for speed.
            pdfmetrics.registerFont(TTFont(name, str(FOLDER / f"{name}.ttf"), asciiReadable=True, shapable=False))
    return pdfmetrics.getFont(name)


@cache
def coverage() -> frozenset[int]:
    """The code points that both faces have a glyph for."""
    return frozenset(face(REGULAR).face.charToGlyph) & frozenset(face(BOLD).face.charToGlyph)


@cache
def widths(name: str) -> dict[str, float]:
    """Advance widths of one face by character, for a size of 1 pt."""
    return _Widths(face(name).face.charWidths, face(name).face.defaultWidth)


class _Widths(dict):
    """Widths of ASCII ahead of time, of the rest as they come."""

    def __init__(self, by_code: dict[int, float], default: float) -> None:
        super().__init__({chr(code): by_code.get(code, default) / 1000 for code in range(32, 127)})
        self._by_code, self._default = by_code, default

    def __missing__(self, character: str) -> float:
        # The face draws a no-break space as a space.
        code = 32 if character == "\xa0" else ord(character)
        width = self[character] = self._by_code.get(code, self._default) / 1000
        return width
