"""A table of any length: rows come from an iterator, go straight onto the page and are forgotten.

Cells wrap, a row stays on one page, the head is repeated. A void row is struck through and can still be read.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from shared.printing.fonts import BOLD, REGULAR
from shared.printing.ink import Pen
from shared.printing.page import GREY, Pages, linked
from shared.printing.text import clean, first_lines, shorten, visual, wrap

GUTTER, MARKER = 9.0, 16.0
FIGURE = re.compile("[-+±\N{MINUS SIGN}]?[0-9][0-9,]*")  # up to its point
BLANK = "—"
_REMEMBERED = 2000


@dataclass(frozen=True, slots=True)
class Measure:
    """Points: the size of the type, from line to line, above and below each row, between columns."""

    size: float
    leading: float
    pad: float
    gutter: float


USUAL, DENSE = Measure(8.0, 9.8, 2.0, GUTTER), Measure(7.5, 8.5, 0.35, 4.2)


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its title, its share of the width that is left, or a fixed width in points, and its alignment.

    "decimal" aligns figures on their point, with room for `after` from there on. In a column that is `named` each entry, such
    as "R12", can be pointed to; in one with `links` each such number leads there. `page`: the cell names what stands on the
    page that is shown. `box`: a frame to write in.
    """

    title: str
    share: float = 1.0
    align: str = "left"
    points: float | None = None
    after: str = ".00 °C"
    named: bool = False
    links: bool = False
    page: bool = False
    box: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """The cells of a row; whether it is void (struck through) or strong (bold); a short mark for the margin.

    A note stands under the cells over the full width, neither struck nor bold. Without cells a row is its note alone.
    """

    cells: Sequence[object] = ()
    void: bool = False
    strong: bool = False
    marker: str = ""
    note: str = ""


def column_widths(columns: Sequence[Column], width: float, gutter: float = GUTTER) -> list[float]:
    """Widths in points, together no more than `width` less the gutters between columns.

    Raises:
        ValueError: when there is no column, or a column is left with less than 16 pt.
    """
    if not columns:
        raise ValueError("A table needs at least one column.")
    left = width - gutter * (len(columns) - 1) - sum(c.points or 0 for c in columns)
    shares = sum(c.share for c in columns if c.points is None) or 1
    widths = [c.points if c.points is not None else left * c.share / shares for c in columns]
    if min(widths) < 2 * USUAL.size:
        narrow = columns[widths.index(min(widths))].title
        raise ValueError(f"Column {narrow!r} is left with {min(widths):.0f} pt; take fewer columns or give it more.")
    return widths


class _Style:
    """One pen and, for each column, the cells that it has set before, also in earlier tables of the document."""

    def __init__(self, pen: Pen, places: Iterable[tuple], cells: dict[tuple, dict[str, tuple]]) -> None:
        self.pen = pen
        self.seen = [cells[pen.font, *place] for place in places]


class Table:
    """Sets rows on pages. Positions in points; `caption` is repeated, as continued, on each further page.

    The rows of a `dense` one stand close together.
    """

    def __init__(
        self, pages: Pages, columns: Sequence[Column], *, caption: str = "", markers: bool = False, dense: bool = False
    ) -> None:
        indent = MARKER if markers else 0.0
        self._pages, self._columns, self._caption = pages, columns, caption
        self._measure = measure = DENSE if dense else USUAL
        self._size, self._leading, self._pad = measure.size, measure.leading, measure.pad
        self._named = next((index for index, each in enumerate(columns) if each.named), None)
        self._page_column = next((index for index, each in enumerate(columns) if each.page), None)
        self._widths = column_widths(columns, pages.width - indent, measure.gutter)
        self._lefts = [pages.left + indent + sum(self._widths[:i]) + measure.gutter * i for i in range(len(columns))]
        places = [
            (x, w, c.align, c.links, measure.size) for x, w, c in zip(self._lefts, self._widths, columns, strict=True)
        ]
        self._regular = _Style(pages.pen(REGULAR, measure.size), places, pages.cells)
        self._bold = _Style(pages.pen(BOLD, measure.size), places, pages.cells)
        self._head = [tuple(self._title(i, c.title)) for i, c in enumerate(columns)]
        self._text: list[str] = []
        self._strokes: list[str] = []

    def head_height(self) -> float:
        """Points that the caption and the head take."""
        lines = max(map(len, self._head))
        return (15 if self._caption else 0) + lines * self._leading + 2 * self._pad + 2

    def draw(self, rows: Iterable[Row | Sequence[object]]) -> int:
        """Draw all rows and return how many there were.

        Raises:
            ValueError: when a row has more or fewer cells than there are columns.
        """
        self._pages.ensure(self.head_height() + self._leading * 2 + self._pad * 2)
        self._draw_head(continued=False)
        count = 0
        for row in rows:
            count += 1
            self._draw_row(row if isinstance(row, Row) else Row(row), count)
        self._flush()
        self._pages.rule(self._pages.y, weight=0.8)
        self._pages.y -= 7
        return count

    def _draw_head(self, *, continued: bool) -> None:
        pages = self._pages
        if self._caption:
            caption = f"{shorten(self._caption, BOLD, 9, pages.width - 60)} (continued)" if continued else self._caption
            text = shorten(caption, BOLD, 9, pages.width)
            pages.line_of_text(pages.left, pages.y - 8, text, pages.pen(BOLD, 9), grey=GREY if continued else 0)
            pages.y -= 15
        lines = max(map(len, self._head))
        pages.rule(pages.y, weight=0.8)
        for index, cell in enumerate(self._head):
            self._place(cell, index, pages.y - self._pad - self._leading * (lines - len(cell)), strong=True)
        pages.y -= lines * self._leading + 2 * self._pad
        pages.rule(pages.y, weight=0.8)

    def _set(self, style: _Style, index: int, value: object) -> tuple[tuple, ...]:
        """The lines of a cell: start of the matrix, operators, left edge, width and links; kept for the next equal value."""
        # Equal values need not look alike (1, 1.0, True), so cells are remembered by what they show.
        value = value if isinstance(value, str) else "" if value is None else str(value)
        seen = style.seen[index]
        cell = seen.get(value)
        if cell is None:
            if len(seen) >= _REMEMBERED:
                seen.clear()
            cell = seen[value] = tuple(self._lines(style.pen, index, value))
        return cell

    def _title(self, index: int, title: str):
        """The lines of a column's title; cut after four, so that the head always leaves room for rows."""
        for line in first_lines(title, BOLD, self._size, self._widths[index], 4):
            yield from self._lines(self._bold.pen, index, line)

    def _lines(self, pen: Pen, index: int, value: object):
        text = clean(value if value else BLANK)
        width = self._widths[index]
        used = pen.width(text) if "\n" not in text else width + 1
        for line in (text,) if used <= width else wrap(text, pen.font, pen.size, width):
            used = pen.width(line if line.isascii() else visual(line))
            x = self._left(index, used, line, pen)
            links = linked(line, pen) if self._columns[index].links else ()
            yield f"1 0 0 1 {x:.2f} ", f" Tm {pen.show(line)}", x, used, links

    def _left(self, index: int, used: float, line: str, pen: Pen) -> float:
        align, free = self._columns[index].align, self._widths[index] - used
        if align == "decimal":
            free = min(free, self._before_point(index, line, pen))
        return self._lefts[index] + (free if align in ("right", "decimal") else free / 2 if align == "center" else 0)

    def _before_point(self, index: int, line: str, pen: Pen) -> float:
        """How far in a line begins whose figure has its point where all of the column have it."""
        whole = FIGURE.match(line)
        room = self._widths[index] - pen.width(self._columns[index].after)
        return max(0.0, room - pen.width(whole[0] if whole else "00"))

    def _draw_row(self, row: Row, number: int) -> None:
        if len(row.cells) != len(self._columns) and (row.cells or not row.note):
            raise ValueError(f"Row {number} has {len(row.cells)} cells for {len(self._columns)} columns.")
        style, put = self._bold if row.strong else self._regular, self._set
        cells = [put(style, index, value) for index, value in enumerate(row.cells)]
        if row.cells and self._page_column is not None:
            cells[self._page_column] = put(style, self._page_column, " ")
        if row.note:
            cells = self._noted(cells, row.note, style)
        height = max(map(len, cells)) * self._leading + 2 * self._pad
        if height + (0 if row.cells else self._leading + 2 * self._pad) > self._pages.remaining:
            self._next_page()
        if row.cells:
            self._point(row)
        while height > self._pages.remaining:
            cells, height = self._draw_part(cells, row), 0
            height = max(map(len, cells)) * self._leading + 2 * self._pad
        self._draw_cells(cells, row, height)

    def _point(self, row: Row) -> None:
        """What points to the row that is drawn next, and to what it points."""
        pages = self._pages
        if self._named is not None:
            pages.stands(row.cells[self._named])
        if self._page_column is not None and row.cells[self._page_column]:
            right = self._lefts[self._page_column] + self._widths[self._page_column]
            pages.page_of(right, pages.y - self._pad - self._size + 0.6, row.cells[self._page_column])

    def _noted(self, cells: list[tuple], note: str, style: _Style) -> list[tuple]:
        """The cells of a row with its note under them, as further lines of the last cell."""
        pen, indent = (self._regular.pen, 8.0) if cells else (style.pen, 0.0)
        left = self._lefts[0] + indent
        lines = wrap(note, pen.font, pen.size, self._pages.right - left)
        set_lines = [
            (
                f"{pen.select} 1 0 0 1 {left:.2f} ",
                f" Tm {pen.show(line)} {style.pen.select}",
                left,
                pen.width(line),
                linked(line, pen),
            )
            for line in lines
        ]
        if not cells:
            return [tuple(set_lines)]
        last = cells[-1]
        nothing = (("1 0 0 1 0 ", " Tm", left, 0.0, ()),) * (max(map(len, cells)) - len(last))
        below = ((before, after, x, 0.0, links) for before, after, x, _, links in set_lines)
        return [*cells[:-1], (*last, *nothing, *below)]

    def _draw_part(self, cells: list[tuple], row: Row) -> list[tuple]:
        """Fill a page with the first lines of a row that is higher than a page; returns what is left of it."""
        fit = int((self._pages.remaining - 2 * self._pad) // self._leading)
        self._draw_cells([cell[:fit] for cell in cells], row, fit * self._leading + 2 * self._pad)
        self._next_page()
        return [cell[fit:] for cell in cells]

    def _draw_cells(self, cells: list[tuple], row: Row, height: float) -> None:
        pages = self._pages
        top = pages.y - self._pad
        pages.y -= height
        if row.marker:
            self._mark(row.marker, top - self._size)
        text = self._text
        if row.strong:
            text.append(self._bold.pen.select)
        first = f"{top - self._size + 0.6:.2f}"
        for cell in cells:
            if len(cell) == 1:
                before, after, x, _, links = cell[0]
                text.append(before + first + after)
                for left, width, target in links:
                    pages.link(x + left, top - self._size + 0.6, width, self._size, target)
            else:
                self._column(cell, top - self._size + 0.6)
        if row.strong:
            text.append(self._regular.pen.select)
        if row.void:
            self._strike(cells, top - self._size + 0.6)
        self._strokes.append(f"{pages.left:.2f} {pages.y:.2f} m {pages.right:.2f} {pages.y:.2f} l")
        for column, left, width in zip(self._columns, self._lefts, self._widths, strict=True):
            if column.box:
                self._strokes.append(f"{left:.2f} {pages.y + 2:.2f} {width:.2f} {height - 4:.2f} re")

    def _column(self, cell: tuple, y: float) -> None:
        for number, (before, after, x, _, links) in enumerate(cell):
            self._text.append(f"{before}{y - number * self._leading:.2f}{after}")
            for left, width, target in links:
                self._pages.link(x + left, y - number * self._leading, width, self._size, target)

    def _strike(self, cells: list[tuple], y: float) -> None:
        for cell in cells:
            for number, (_, _, x, used, _) in enumerate(cell):
                if not used:
                    continue  # a note, or nothing
                height = y - number * self._leading + self._size * 0.28
                self._pages.rule(height, weight=0.5, left=x - 1, right=x + used + 1)

    def _mark(self, marker: str, y: float) -> None:
        bold = self._bold.pen
        line = shorten(marker, BOLD, self._size, MARKER)
        self._text.append(
            f"{bold.select} 1 0 0 1 {self._pages.left:.2f} {y + 0.6:.2f} Tm {bold.show(line)} "
            f"{self._regular.pen.select}"
        )

    def _place(self, cell: tuple, index: int, top: float, *, strong: bool) -> None:
        pen = self._bold.pen if strong else self._regular.pen
        y = top - self._size + 0.6
        lines = " ".join(f"{before}{y - n * self._leading:.2f}{after}" for n, (before, after, *_) in enumerate(cell))
        self._pages.emit(f"BT {pen.select} {lines} ET")

    def _next_page(self) -> None:
        self._flush()
        self._pages.break_page()
        self._draw_head(continued=True)

    def _flush(self) -> None:
        """Put what was set on this page onto the canvas: rules first, then all text in one object."""
        if self._strokes:
            self._pages.emit("q 0.3 w 0.62 G " + " ".join(self._strokes) + " S Q")
        if self._text:
            self._pages.emit(f"BT {self._regular.pen.select} " + "\n".join(self._text) + " ET")
        self._text.clear()
        self._strokes.clear()
