"""Strings as operators of a PDF text object: quick, because a record holds a great many short ones."""

from reportlab.pdfgen.canvas import Canvas

from shared.printing.fonts import face
from shared.printing.text import measure, visual

_ESCAPES = str.maketrans({"\\": "\\\\", "(": "\\(", ")": "\\)"})


class Pen:
    """One face at one size (in points) in one document."""

    def __init__(self, canvas: Canvas, font: str, size: float) -> None:
        self.font, self.size = font, size
        self._canvas, self._face = canvas, face(font)
        self._face.splitString(" ", canvas._doc)
        self._first = self._face.getSubsetInternalName(0, canvas._doc)
        self.select = f"{self._first} {size:g} Tf"

    def width(self, text: str) -> float:
        """Width of one line in points."""
        return measure(text, self.font, self.size)

    def show(self, line: str) -> str:
        """Operators that draw a cleaned line where the text object stands, and leave this pen selected."""
        if line.isascii():
            return f"({line.translate(_ESCAPES)}) Tj"
        document = self._canvas._doc
        pieces = []
        for subset, codes in self._face.splitString(visual(line), document):
            drawn = f"({self._canvas._escape(codes)}) Tj"
            name = self._face.getSubsetInternalName(subset, document)
            pieces.append(drawn if name == self._first else f"{name} {self.size:g} Tf {drawn} {self.select}")
        return " ".join(pieces)
