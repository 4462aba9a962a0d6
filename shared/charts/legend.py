"""The key of a picture: a mark and its words, in as many rows as the width asks for."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from reportlab.graphics.shapes import Drawing, Shape

from shared.charts.marks import width_of, word
from shared.printing.fonts import REGULAR
from shared.printing.text import shorten

_GAP = 16.0
Row = list[tuple[float, "LegendEntry", str]]


@dataclass(frozen=True, slots=True)
class LegendEntry:
    """Words, the width of their mark in points, and what draws the mark at a left edge and a baseline."""

    text: str
    mark: float
    draw: Callable[[float, float], Shape]


def rows_of(entries: Sequence[LegendEntry], width: float, size: float) -> list[Row]:
    """Entries from left to right in rows no wider than `width`; each with its offset and the words that fit."""
    rows: list[Row] = []
    used = width + 1
    for entry in entries:
        text = shorten(entry.text, REGULAR, size, width - entry.mark - 5)
        wide = entry.mark + 5 + width_of(text, size)
        if used + wide > width:
            rows.append([])
            used = 0.0
        rows[-1].append((used, entry, text))
        used += wide + _GAP
    return rows


def place(drawing: Drawing, rows: Sequence[Row], left: float, top: float, size: float) -> None:
    """Draw the rows downwards from a first baseline at `top`."""
    for number, row in enumerate(rows):
        y = top - number * 16
        for offset, entry, text in row:
            drawing.add(entry.draw(left + offset, y))
            drawing.add(word((left + offset + entry.mark + 5, y), text, size=size))
