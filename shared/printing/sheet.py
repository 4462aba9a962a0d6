"""Bare pages, on which each thing stands where it is told: labels and tags. Text keeps to the room that it is given."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import BinaryIO

from reportlab.pdfgen.canvas import Canvas

from shared.printing.fonts import REGULAR, face
from shared.printing.grid import PAPERS
from shared.printing.ink import Pen
from shared.printing.text import clean, first_lines, measure, visual, wrap

ASCENT, LEADING = (
    0.93,
    1.17,
)  # of the face, in sizes: what stands above the baseline, and one line with what hangs below it


@dataclass(frozen=True, slots=True)
class Fitted:
    """Lines of text in one face and size that keep to a width, in points."""

    lines: Sequence[str]
    font: str
    size: float
    width: float

    @property
    def height(self) -> float:
        return len(self.lines) * self.size * LEADING


def fit(value: object, font: str, sizes: Sequence[float], width: float, height: float) -> Fitted:
    """A text as large as it can be in a room of `width` by `height` points; `sizes` go from the largest to the smallest.

    A word is broken only where the text would else be less than half as large, and an ellipsis stands for what has no room
    at the smallest size.
    """
    text = clean(value)
    broken = None
    for size in (each for each in sizes if each * 2 <= width):
        lines = wrap(text, font, size, width)
        if len(lines) * size * LEADING > height:
            continue
        if all(measure(word, font, size) <= width for word in text.split()):
            return broken if broken and broken.size > 2 * size else Fitted(lines, font, size, width)
        broken = broken or Fitted(lines, font, size, width)
    return broken or cut(text, font, sizes[-1], width, height)


def cut(value: object, font: str, size: float, width: float, height: float) -> Fitted:
    """The beginning of a text at one size, at least a line, with an ellipsis where it was cut."""
    most = max(1, int(height / (size * LEADING) + 1e-6))
    return Fitted(first_lines(value, font, size, width, most), font, size, width)


class Sheet:
    """Writes pages of one paper to a binary file object, in a `with` statement."""

    def __init__(self, out: BinaryIO, *, paper: str, title: str, author: str) -> None:
        first = face(REGULAR).fontName  # or the canvas begins each page in a face that is not embedded
        self.canvas = Canvas(out, PAPERS[paper], pageCompression=1, lang="en", initialFontName=first)
        self.canvas.setTitle(clean(title))
        self.canvas.setAuthor(clean(author))
        self.canvas.setCreator("Noughtbook")
        self.canvas.setViewerPreference("DisplayDocTitle", "true")
        self.canvas.setViewerPreference("PrintScaling", "None")  # made to fit the paper, it would miss the labels
        self._pens: dict[tuple[str, float], Pen] = {}

    def __enter__(self) -> "Sheet":
        return self

    def __exit__(self, kind, error, trace) -> None:
        if kind is None:
            self.canvas.showPage()
            self.canvas.save()

    def next_page(self) -> None:
        self.canvas.showPage()

    def emit(self, operators: str) -> None:
        """Put PDF operators on the page; never pass text in them except what a pen has shown."""
        self.canvas._code.append(operators)

    def text(self, fitted: Fitted, left: float, top: float, *, ink: str = "0 g", center: bool = False) -> float:
        """Draw lines from `top` down, and give where they end. A line whose letters join to something wider is squeezed."""
        pen = self._pen(fitted.font, fitted.size)
        for line in map(clean, fitted.lines):
            used = pen.width(visual(line))
            squeezed = min(1.0, fitted.width / used) if used else 1.0
            x = left + (fitted.width - used * squeezed) / 2 if center else left
            y = top - fitted.size * ASCENT
            self.emit(
                f"q {ink} BT {pen.select} {squeezed * 100:.2f} Tz 1 0 0 1 {x:.2f} {y:.2f} Tm {pen.show(line)} ET Q"
            )
            top -= fitted.size * LEADING
        return top

    def _pen(self, font: str, size: float) -> Pen:
        key = (font, size)
        if key not in self._pens:
            self._pens[key] = Pen(self.canvas, font, size)
        return self._pens[key]
