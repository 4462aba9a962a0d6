"""The only door through which text that people typed reaches a printed page.

Text is drawn as text, never read as markup, so nothing in it can become an instruction. What the face cannot show is
named in square brackets instead of vanishing: "[thumbs up sign]", "[U+4E2D]".
"""

import re
import unicodedata
from collections.abc import Iterator

from arabic_reshaper import ArabicReshaper
from bidi.algorithm import get_display

from shared.printing.fonts import coverage, widths

_LINE_ENDS = re.compile("\r\n|[\r\x85\u2028\u2029]")
# Characters that have no ink and only advise the renderer: soft hyphen, zero-width marks, variation selectors.
_WITHOUT_INK = re.compile("[\u00ad\u034f\u061c\u200b\u200e\u200f\u2060\ufe00-\ufe0f\ufeff\U000e0100-\U000e01ef]")
_TURNING = frozenset(map(ord, "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"))
_RIGHT_TO_LEFT = re.compile("[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc]")
_ARABIC = re.compile("[\u0600-\u077f\u08a0-\u08ff]")
_SHAPER = ArabicReshaper({"delete_harakat": False, "support_ligatures": False})


class Clean(str):
    """Text that has passed `clean`."""

    __slots__ = ()


def clean(value: object) -> Clean:
    """Text that can be drawn as it stands: every character in it has a glyph, and line ends are newlines.

    Control characters and marks that turn the direction of writing are shown by their code, because they could make a
    page say something else than what was typed.
    """
    if isinstance(value, Clean):
        return value
    text = str(value)
    if text.isascii() and text.isprintable():
        return Clean(text)
    text = _WITHOUT_INK.sub("", _LINE_ENDS.sub("\n", text).replace("\t", " "))
    shown = coverage()
    text = unicodedata.normalize("NFC", text)
    return Clean("".join(c if c == "\n" or _drawable(c, shown) else _named(c) for c in text))


def _drawable(character: str, shown: frozenset[int]) -> bool:
    code = ord(character)
    return code in shown and code not in _TURNING and unicodedata.category(character) not in ("Cc", "Cs", "Co", "Cn")


def _named(character: str) -> str:
    name = unicodedata.name(character, "") if unicodedata.category(character) in ("So", "Sm", "Po") else ""
    return f"[{name.lower()}]" if name else f"[U+{ord(character):04X}]"


def measure(text: str, font: str, size: float) -> float:
    """Width of one line in points, for a size in points."""
    return sum(map(widths(font).__getitem__, text)) * size


def wrap(value: object, font: str, size: float, width: float) -> list[str]:
    """Lines no wider than `width` points, in the order of reading; a word that is wider is broken.

    Raises:
        ValueError: when not even one character could fit.
    """
    if width < size * 2:
        raise ValueError(f"{width:.1f} pt is too narrow for text of {size} pt; widen the column or take fewer columns.")
    return [line for part in clean(value).split("\n") for line in _wrapped(part, widths(font), width / size)]


def _wrapped(text: str, advance: dict[str, float], width: float) -> Iterator[str]:
    line, used, space = "", 0.0, advance[" "]
    for word in text.split(" "):
        size = sum(map(advance.__getitem__, word))
        if line and used + space + size <= width:
            line, used = f"{line} {word}", used + space + size
            continue
        if line:
            yield line
        *broken, line = _broken(word, advance, width) if size > width else [word]
        yield from broken
        used = sum(map(advance.__getitem__, line))
    yield line


def _broken(word: str, advance: dict[str, float], width: float) -> list[str]:
    pieces, start, used = [], 0, 0.0
    for index, character in enumerate(word):
        if used + advance[character] > width:
            pieces.append(word[start:index])
            start, used = index, 0.0
        used += advance[character]
    return [*pieces, word[start:]]


def shorten(value: object, font: str, size: float, width: float) -> str:
    """One line no wider than `width` points, with an ellipsis where it was cut."""
    text = clean(value).replace("\n", " ")
    if measure(text, font, size) <= width:
        return text
    return _broken(text, widths(font), (width / size) - widths(font)["…"])[0].rstrip() + "…"


def first_lines(value: object, font: str, size: float, width: float, most: int) -> list[str]:
    """At most `most` lines no wider than `width` points, with an ellipsis where the rest was cut."""
    lines = wrap(value, font, size, width)
    if len(lines) <= most:
        return lines
    return [*lines[: most - 1], shorten(lines[most - 1] + "…" * 2, font, size, width).rstrip("…") + "…"]


def visual(line: str) -> str:
    """One line in the order in which its glyphs stand on paper, with Arabic letters in their joined forms."""
    if line.isascii() or not _RIGHT_TO_LEFT.search(line):
        return line
    joined = _SHAPER.reshape(line) if _ARABIC.search(line) else line
    shown = coverage()
    return get_display(joined if all(ord(c) in shown for c in joined) else line)
