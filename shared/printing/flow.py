"""A record as a sequence of calls on one Writer: headings, paragraphs, facts, tables, pictures, signatures.

Nothing is held back but headings, which wait for what follows so that none is left alone at the foot of a page.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, tzinfo
from itertools import chain
from pathlib import Path
from typing import BinaryIO

from reportlab.graphics import renderPDF
from reportlab.graphics.shapes import Drawing

from shared.printing.fonts import BOLD, REGULAR
from shared.printing.page import GREY, Imprint, Masthead, Pages
from shared.printing.runs import Run, goes_rightwards, set_runs
from shared.printing.table import Column, Row, Table
from shared.printing.text import clean, first_lines, wrap
from shared.time_text import zoned_moment

HEADINGS = {1: (13.0, 12.0, 4.0), 2: (10.5, 9.0, 3.0), 3: (9.5, 6.0, 2.0)}  # size, space above, space below
BODY, SMALL, LEADING = 9.0, 8.0, 11.6
DENSE_LEADING, COLUMN_GAP = 9.8, 18.0  # of small type in little room


@dataclass(frozen=True, slots=True)
class _Block:
    """Something of a known height (points) that is drawn from the cursor down and kept on one page."""

    height: float
    draw: Callable[[], None]
    above: float = 0.0


class Writer:
    """Writes one record to a binary file object; `close` it, or use it in a `with` statement.

    Raises:
        ValueError: for a page size that is not known, or a time of printing without a zone.
    """

    def __init__(
        self,
        out: BinaryIO,
        *,
        masthead: Masthead,
        imprint: Imprint,
        page_size: str = "A4",
        language: str = "en",
        invariant: bool = False,
    ) -> None:
        zoned_moment(imprint.printed_at, imprint.zone)
        self._pages = Pages(out, masthead, imprint, size=page_size, language=language, invariant=invariant)
        self.zone: tzinfo = imprint.zone
        self._waiting: list[_Block] = []
        self._together: list[_Block] | None = None
        self._level, self._marks, self._above = -1, 0, 0  # in the outline: how deep, how many, below how many
        self.nothing: list[str] = []

    def __enter__(self) -> "Writer":
        return self

    def __exit__(self, kind, error, trace) -> None:
        if kind is None:
            self.close()

    def part(self, masthead: Masthead, imprint: Imprint, *, name: str, title: str) -> None:
        """Begin a part with a head of its own, on a new page; the outline has it by its title, the cover finds it by its name."""
        zoned_moment(imprint.printed_at, imprint.zone)
        self._flush_headings(0)
        self._pages.begin_part(masthead, imprint, name)
        self.zone, self.nothing, self._level, self._above = imprint.zone, [], -1, 1
        self._bookmark(clean(title), 0)

    @property
    def width(self) -> float:
        """Points between the side margins."""
        return self._pages.width

    def heading(self, text: str, level: int = 1, name: str = "") -> None:
        """A heading of level 1, 2 or 3, with its entry in the outline; it stays with what follows. Links find it by `name`, or
        by its text."""
        size, above, below = HEADINGS[level]
        lines = first_lines(text, BOLD, size, self.width, 4)
        height = len(lines) * size * 1.25 + below
        self._waiting.append(_Block(height, lambda: self._draw_heading(clean(text), lines, level, name), above))

    def listing(
        self, columns: Sequence[Column], rows: Iterable[Row], *, empty: str = "", heading: str = "", caption: str = ""
    ) -> bool:
        """A table, under its heading, where there are rows; else no more than a sentence for the end, kept in `nothing`."""
        rows = iter(rows)
        first = next(rows, None)
        if first is None:
            self.nothing += [empty] * bool(empty)
            return False
        if heading:
            self.heading(heading)
        self.table(columns, chain([first], rows), caption=caption, dense=True)
        return True

    def paragraph(self, text: str, *, strong: bool = False, small: bool = False) -> None:
        """Running text; blank lines and line ends in it are kept."""
        font, size = BOLD if strong else REGULAR, SMALL if small else BODY
        self._lines(wrap(text, font, size, self.width), font, size, grey=GREY if small else 0)
        self._space(5)

    def lead(self, text: str) -> None:
        """A sentence in bold that stays with what follows it, as headings do."""
        draw = self._run(wrap(text, BOLD, BODY, self.width), BOLD, BODY, LEADING, 0)
        height = len(wrap(text, BOLD, BODY, self.width)) * LEADING
        self._waiting += [_Block(height, draw), _Block(3, lambda: self._down(3))]

    def facts(self, pairs: Iterable[tuple[str, object]], *, columns: int = 1, small: bool = False) -> None:
        """Labels with their values, in one or two columns; an empty value is shown by a dash."""
        pairs, size = list(pairs), SMALL if small else BODY
        for start in range(0, len(pairs), columns):
            self._fact_line(pairs[start : start + columns], columns, size)
        self._space(4)

    def run_on(self, pairs: Iterable[tuple[str, object]]) -> None:
        """The same one after the other in running text, in little room; labels are bold."""
        pairs = [(label, "—" if value in (None, "") else value) for label, value in pairs]
        if not goes_rightwards(pairs):
            self.facts(pairs, small=True)
            return
        lines = set_runs(pairs, SMALL, self.width)
        for start in range(0, len(lines), 8):
            some = lines[start : start + 8]
            self._keep(_Block(len(some) * DENSE_LEADING, lambda some=some: self._draw_runs(some, self._pages.left)))
        self._space(3)

    def small_print(self, groups: Iterable[tuple[str, Iterable[tuple[str, str]]]]) -> None:
        """Explanations at the back: labels with their words under a title, in two columns of small type."""
        width = (self.width - COLUMN_GAP) / 2
        lines: list[list[Run]] = []
        for title, pairs in groups:
            lines += [[]] * bool(lines) + [[Run(0.0, title, True)]] * bool(title)
            for pair in pairs:
                lines += set_runs([pair], SMALL, width)
        self._flush_headings(4 * DENSE_LEADING)
        while lines:
            tall = -(-len(lines) // 2)
            self._pages.ensure(min(4, tall) * DENSE_LEADING)
            tall = min(tall, int(self._pages.remaining // DENSE_LEADING))
            top, deepest = self._pages.y, self._pages.y
            for column in range(2):
                self._pages.y = top
                self._draw_runs(lines[:tall], self._pages.left + column * (width + COLUMN_GAP))
                deepest, lines = min(deepest, self._pages.y), lines[tall:]
            self._pages.y = deepest
        self._space(4)

    def _draw_runs(self, lines: list[list[Run]], left: float) -> None:
        pages = self._pages
        for line in lines:
            for run in line:
                pen = pages.pen(BOLD if run.bold else REGULAR, SMALL)
                pages.line_of_text(left + run.x, pages.y - SMALL, run.text, pen)
                pages.link_codes(left + run.x, pages.y - SMALL, run.text, pen)
            pages.y -= DENSE_LEADING

    def table(
        self,
        columns: Sequence[Column | str],
        rows: Iterable[Row | Sequence[object]],
        *,
        caption: str = "",
        markers: bool = False,
        dense: bool = False,
        empty: str = "None recorded.",
    ) -> int:
        """A table over the full width; returns how many rows it had. `rows` is read once, as it is drawn.

        Raises:
            ValueError: when a row does not fit the columns, or when asked for inside `together`.
        """
        if self._together is not None:
            raise ValueError("A table can be longer than a page; draw it outside together().")
        columns = [c if isinstance(c, Column) else Column(c) for c in columns]
        table = Table(self._pages, columns, caption=caption, markers=markers, dense=dense)
        self._flush_headings(table.head_height() + 40)
        count = table.draw(rows)
        if not count:
            self._pages.y += 4
            self.paragraph(empty)
        self._space(2)
        return count

    def drawing(self, drawing: Drawing, caption: str = "") -> None:
        """A picture, made smaller where it is wider than the page, with the sentence that says what it shows."""
        scale = min(1.0, self.width / drawing.width, self._pages.depth * 0.8 / drawing.height)
        lines = first_lines(caption, REGULAR, 8, self.width, 4) if caption else []
        height = drawing.height * scale + len(lines) * 10.5 + 10
        self._keep(_Block(height, lambda: self._draw_picture(drawing, scale, lines)))

    def signature(self, name: str, moment: datetime | str | None, meaning: str) -> None:
        """Who signed, when (an aware time is shown in the site's zone) and what it means; blanks are left for a pen."""
        shown = zoned_moment(moment, self.zone) if isinstance(moment, datetime) else (moment or "")
        parts = list(zip((meaning, name, shown), ("Meaning", "Name and signature", "Date and time"), strict=True))
        width = (self.width - 28) / 3
        cells = [(wrap(value, REGULAR, 9.5, width), label) for value, label in parts]
        tall = max(len(lines) for lines, _ in cells)
        if tall > 12:
            self.facts([(label, value) for value, label in parts])
            return
        self._keep(_Block(tall * 12 + (34 if name else 46), lambda: self._draw_signature(cells, width, tall)))

    def caution(self, text: str, title: str = "Caution") -> None:
        """A warning set off by a box and the word, not by colour."""
        self._boxed(title, text, bar=5.0)

    def note(self, text: str, title: str = "Note") -> None:
        """A remark set off by a thin box."""
        self._boxed(title, text, bar=1.6)

    def gap(self, points: float = 8) -> None:
        """Some white between blocks."""
        self._keep(_Block(points, lambda: None))

    @contextmanager
    def together(self) -> Iterator[None]:
        """Keep what is written inside on one page, where one page can hold it."""
        if self._together is not None:
            yield
            return
        self._together = self._waiting
        self._waiting = []
        try:
            yield
        finally:
            blocks, self._together = [*self._together, *self._waiting], None
            self._waiting = []
        total = sum(b.height + b.above for b in blocks)
        if total <= self._pages.depth:
            self._pages.ensure(total)
        for block in blocks:
            self._draw(block)

    def attach(self, files: Iterable[Path], about: str, *, before: str = "") -> None:
        """Put files beside the pages, each under its name with something before it."""
        for file in sorted(files):
            with file.open("rb") as content:
                self._pages.attach(
                    f"{before}{file.name}", about, iter(lambda content=content: content.read(1 << 16), b"")
                )

    def close(self) -> None:
        """Finish the document and write it out."""
        self._flush_headings(0)
        self._pages.close()

    def _keep(self, block: _Block) -> None:
        if self._together is not None:
            self._together += [*self._waiting, block]
            self._waiting.clear()
            return
        self._flush_headings(block.height)
        self._draw(block)

    def _draw(self, block: _Block) -> None:
        if self._pages.remaining < block.height:
            self._pages.break_page()
        self._pages.y -= 0 if self._pages.fresh else block.above
        block.draw()

    def _flush_headings(self, following: float) -> None:
        blocks, self._waiting = self._waiting, []
        if blocks:
            self._pages.ensure(min(sum(b.height + b.above for b in blocks) + following, self._pages.depth))
        for block in blocks:
            self._draw(block)

    def _space(self, points: float) -> None:
        if self._together is not None:
            self._keep(_Block(points, lambda: self._down(points)))
        else:
            self._down(points)

    def _down(self, points: float) -> None:
        self._pages.y -= points

    def _lines(self, lines: list[str], font: str, size: float, *, grey: float = 0) -> None:
        """Lines of running text: a short run stays whole, a long one leaves no single line behind or ahead."""
        leading = size * LEADING / BODY
        runs = [lines] if len(lines) <= 4 else [lines[:2], *([line] for line in lines[2:-2]), lines[-2:]]
        for run in runs:
            self._keep(_Block(len(run) * leading, self._run(run, font, size, leading, grey)))

    def _run(self, run, font, size, leading, grey):
        def draw() -> None:
            pages = self._pages
            pen = pages.pen(font, size)
            for line in run:
                pages.line_of_text(pages.left, pages.y - size, line, pen, grey=grey)
                pages.link_codes(pages.left, pages.y - size, line, pen)
                pages.y -= leading

        return draw

    def _draw_heading(self, text: str, lines: list[str], level: int, name: str) -> None:
        size, _, below = HEADINGS[level]
        pages = self._pages
        self._bookmark(text, level)
        pages.stands(name or text)
        for line in lines:
            pages.line_of_text(pages.left, pages.y - size, line, pages.pen(BOLD, size))
            pages.y -= size * 1.25
        pages.y -= below

    def _bookmark(self, text: str, level: int) -> None:
        self._level = min(level - 1 + self._above, self._level + 1)
        self._marks += 1
        key = f"section{self._marks}"
        canvas = self._pages.canvas
        canvas.bookmarkPage(key, fit="XYZ", left=0, top=self._pages.y + 10, zoom=0)
        canvas.addOutlineEntry(text.replace("\n", " "), key, self._level)

    def _fact_line(self, pairs: list[tuple[str, object]], columns: int, size: float) -> None:
        room = (self.width - 18 * (columns - 1)) / columns
        label_width = _label_width(room)
        cells = []
        for label, value in pairs:
            shown = "—" if value in (None, "") else value
            cells.append((wrap(label, REGULAR, size, label_width - 8), wrap(shown, REGULAR, size, room - label_width)))
        tall, leading = max(max(len(label), len(value)) for label, value in cells), size * LEADING / BODY
        if tall * leading > self._pages.depth / 2:
            self._long_fact(pairs)
            return
        self._keep(_Block(tall * leading + size * 0.15, lambda: self._draw_facts(cells, tall, room, size)))

    def _long_fact(self, pairs: list[tuple[str, object]]) -> None:
        for label, value in pairs:
            self.paragraph(label, strong=True)
            self.paragraph(str(value))

    def _draw_facts(self, cells, tall: int, room: float, size: float) -> None:
        pages, label_width, leading = self._pages, _label_width(room), size * LEADING / BODY
        pen = pages.pen(REGULAR, size)
        for index, (label, value) in enumerate(cells):
            x = pages.left + index * (room + 18)
            for n, line in enumerate(label):
                pages.line_of_text(x, pages.y - size - n * leading, line, pen, grey=GREY)
            for n, line in enumerate(value):
                pages.line_of_text(x + label_width, pages.y - size - n * leading, line, pen)
                pages.link_codes(x + label_width, pages.y - size - n * leading, line, pen)
        pages.y -= tall * leading + size * 0.15

    def _draw_picture(self, drawing: Drawing, scale: float, caption: list[str]) -> None:
        pages, drawing.initialFontName = self._pages, REGULAR  # or it begins in a face that is not embedded
        pages.y -= drawing.height * scale
        pages.canvas.saveState()
        pages.canvas.translate(pages.left, pages.y)
        pages.canvas.scale(scale, scale)
        renderPDF.draw(drawing, pages.canvas, 0, 0)
        pages.canvas.restoreState()
        for line in caption:
            pages.line_of_text(pages.left, pages.y - 9, line, pages.pen(REGULAR, 8), grey=GREY)
            pages.y -= 10.5
        pages.y -= 10

    def _draw_signature(self, cells, width: float, tall: int) -> None:
        pages = self._pages
        base = pages.y - (tall * 12 + (34 if cells[1][0] != [""] else 46)) + 22
        for index, (lines, label) in enumerate(cells):
            x = pages.left + index * (width + 14)
            for n, line in enumerate(reversed(lines)):
                pages.line_of_text(x, base + 4 + n * 12, line, pages.pen(REGULAR, 9.5))
            pages.rule(base, weight=0.6, left=x, right=x + width)
            pages.line_of_text(x, base - 9, label, pages.pen(REGULAR, 7.5), grey=GREY)
        pages.y = base - 22

    def _boxed(self, title: str, text: str, *, bar: float) -> None:
        lines = wrap(text, REGULAR, BODY, self.width - bar - 24)
        if len(lines) * LEADING > self._pages.depth / 2:
            self.paragraph(title, strong=True)
            self.paragraph(text)
            return
        height = len(lines) * LEADING + 27
        self._keep(_Block(height + 10, lambda: self._draw_box(title, lines, bar, height)))

    def _draw_box(self, title: str, lines: list[str], bar: float, height: float) -> None:
        pages = self._pages
        bottom = pages.y - height
        pages.emit(
            f"q 0.6 w 0 G {pages.left:.2f} {bottom:.2f} {self.width:.2f} {height:.2f} re S "
            f"0 g {pages.left:.2f} {bottom:.2f} {bar:g} {height:.2f} re f Q"
        )
        x, y = pages.left + bar + 10, pages.y - 16
        pages.line_of_text(x, y, title, pages.pen(BOLD, 9.5))
        for number, line in enumerate(lines):
            pages.line_of_text(x, y - 13.5 - number * LEADING, line, pages.pen(REGULAR, BODY))
        pages.y = bottom - 10


def _label_width(room: float) -> float:
    return min(130.0, room * 0.38)
