"""Pages of a printed record: size, margins, masthead, running head, footer and "Page n of m".

Everything goes straight onto a canvas, top to bottom, and what is drawn on a finished page goes to the file at once, so a
record of any length needs little memory. How many pages there are is known at the end only; "Page n of m" is therefore a small
stream of its own that each page is given on closing.

A document may have parts, each with a head of its own and with its own names for what stands in it: links lead to places of the
same part. What comes before the first part is the cover; it may point to where parts begin.
"""

import zlib
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import BinaryIO

from reportlab.lib.pagesizes import A4, LETTER
from reportlab.pdfbase.pdfdoc import PDFArray, PDFDictionary, PDFName, PDFObjectReference, PDFStream, PDFString
from reportlab.pdfgen.canvas import Canvas

from shared.printing.fonts import BOLD, REGULAR, face
from shared.printing.ink import Pen
from shared.printing.places import Places, Pointer, codes_in
from shared.printing.streamed import StreamedFile
from shared.printing.text import clean, first_lines, shorten, visual
from shared.time_text import zoned_moment

SIZES = {"A4": A4, "Letter": LETTER}
SIDE, TOP, BOTTOM = 42.0, 34.0, 30.0
GREY = 0.32


@dataclass(frozen=True, slots=True, kw_only=True)
class Masthead:
    """What a record is about; repeated in short at the head of each page. `times`: by which zone its times go, in short."""

    business: str
    site: str
    title: str
    period: str
    times: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Imprint:
    """Who printed a record and when: an aware time, shown in the site's zone; for the foot of each page a note, and a line
    that is never shortened."""

    printed_by: str
    printed_at: datetime
    zone: tzinfo
    note: str = ""
    witness: str = ""


class Pages:
    """A canvas with a cursor `y` (points from the bottom) that moves down the page between the margins."""

    def __init__(
        self,
        out: BinaryIO,
        masthead: Masthead,
        imprint: Imprint,
        *,
        size: str = "A4",
        language: str = "en",
        invariant: bool = False,
    ) -> None:
        if size not in SIZES:
            raise ValueError(f"Page size {size!r} is not known; use one of {', '.join(SIZES)}.")
        self.page_width, self.page_height = SIZES[size]
        first = face(REGULAR).fontName  # or the canvas begins each page in a face that is not embedded
        self.canvas = Canvas(
            out, SIZES[size], pageCompression=1, invariant=invariant, lang=language, initialFontName=first
        )
        self._file = StreamedFile(out, self.canvas)
        self.left, self.right = SIDE, self.page_width - SIDE
        self.width = self.right - self.left
        self.number = 0
        self._pens: dict[tuple[str, float], Pen] = {}
        self.cells: dict[tuple, dict[str, tuple]] = defaultdict(dict)  # what tables have set, by face and column
        self.places = self._cover = Places(first_page=1)
        self._feet: dict[int, PDFStream] = {}  # by page: what is known of it only later
        self._files: dict[str, PDFObjectReference] = {}
        self._describe(masthead)
        self._open(masthead, imprint)

    def _describe(self, masthead: Masthead) -> None:
        self.canvas.setTitle(clean(f"{masthead.title}: {masthead.site}, {masthead.period}"))
        self.canvas.setAuthor(clean(masthead.business))
        self.canvas.setSubject(clean(masthead.period))
        self.canvas.setCreator("Noughtbook")
        self.canvas.setViewerPreference("DisplayDocTitle", "true")
        self.canvas.showOutline()

    @property
    def remaining(self) -> float:
        """Points left between the cursor and the foot."""
        return self.y - self.bottom

    @property
    def fresh(self) -> bool:
        """Whether nothing has been set on this page yet."""
        return self.y >= self.start

    @property
    def depth(self) -> float:
        """Points that a page other than the first offers in all."""
        return self.page_height - TOP - 22 - self.bottom

    def pen(self, font: str = REGULAR, size: float = 9) -> Pen:
        """The pen for a face and a size, made once a document."""
        key = (font, size)
        if key not in self._pens:
            self._pens[key] = Pen(self.canvas, font, size)
        return self._pens[key]

    def emit(self, operators: str) -> None:
        """Put PDF operators on the page; never pass text in them except what a pen has shown."""
        self.canvas._code.append(operators)

    def line_of_text(self, x: float, y: float, text: str, pen: Pen, *, align: str = "left", grey: float = 0) -> None:
        """Draw one line with its baseline at `y`; `x` is its left, middle or right end by `align`."""
        self.emit(_line(x, y, text, pen, align, grey))

    def rule(
        self, y: float, *, weight: float = 0.5, grey: float = 0, left: float | None = None, right: float | None = None
    ) -> None:
        """Draw a horizontal rule, over the full width unless told."""
        start, end = self.left if left is None else left, self.right if right is None else right
        self.emit(f"q {weight:g} w {grey:g} G {start:.2f} {y:.2f} m {end:.2f} {y:.2f} l S Q")

    def ensure(self, height: float) -> bool:
        """Go to a new page unless `height` points are left; tells whether it did."""
        if self.remaining >= height:
            return False
        self.break_page()
        return True

    def break_page(self) -> None:
        """Finish this page and begin the next."""
        self._finish()
        self._begin(self._draw_running_head)

    def begin_part(self, masthead: Masthead, imprint: Imprint, name: str) -> None:
        """Begin, on a new page, a part that the cover finds by its name."""
        self._finish()
        if self.places is not self._cover:
            self._settle(self.places)
        self.cells.clear()
        self.places = Places(first_page=self.number + 1)
        self._open(masthead, imprint)
        self._cover.stands(name, self.number, self.page_height - TOP)

    def _open(self, masthead: Masthead, imprint: Imprint) -> None:
        self._masthead, self._imprint = masthead, imprint
        self.bottom = BOTTOM + 14 + 10 * bool(imprint.note) + 9 * bool(imprint.witness)
        self._begin(self._draw_masthead)

    def stands(self, name: str) -> None:
        """What the cursor stands at can be pointed to by this name."""
        self.places.stands(name, self.number, self.y)

    def link(self, x: float, y: float, width: float, size: float, target: str) -> None:
        """The `width` points from `x` on the baseline `y`, in type of this size, lead to what bears this name."""
        self.places.links.append(Pointer(self.number, x, y - size * 0.3, x + width, y + size * 0.9, target))

    def link_codes(self, x: float, y: float, line: str, pen: Pen) -> None:
        """Each number of an entry in a line that begins at `x` leads to where that entry stands."""
        for left, width, target in linked(line, pen):
            self.link(x + left, y, width, pen.size, target)

    def page_of(self, x: float, y: float, target: str) -> None:
        """The number of the page on which something stands, ending at `x`; filled in on closing, and a link."""
        self.places.asked.append((self.number, x, y, target))

    def close(self) -> None:
        """Finish the last page, fill in how many there are and where things stand, and write the rest of the document."""
        self._finish()
        self._settle(self.places)
        if self.places is not self._cover:
            self._settle(self._cover)
        for number, foot in self._feet.items():
            foot.content += self._number_line(number)
        if self._files:
            files = [each for name in sorted(self._files) for each in (PDFString(name), self._files[name])]
            names = PDFDictionary({"Names": PDFArray(files)})
            self.canvas._doc.Catalog.Names = PDFDictionary({"EmbeddedFiles": names})
        self._file.close()

    def attach(self, name: str, about: str, pieces: Iterable[bytes]) -> None:
        """A file that readers of PDF list beside the pages."""
        packed = PDFDictionary({"Type": PDFName("EmbeddedFile"), "Filter": PDFName("FlateDecode")})
        stream = self._file.write_packed(packed, pieces)
        file = {"Type": PDFName("Filespec"), "F": PDFString(name), "UF": PDFString(name), "Desc": PDFString(about)}
        file |= {"EF": PDFDictionary({"F": stream}), "AFRelationship": PDFName("Data")}
        self._files[name] = self.canvas._doc.Reference(PDFDictionary(file))

    def _settle(self, places: Places) -> None:
        """Write the pages of a part, now that all is known but how many there are."""
        pages = self.canvas._doc.Pages.pages
        found = places.found({target for *_, target in places.asked} | {link.target for link in places.links})
        self._tell_pages(places, found)
        by_page = defaultdict(list)
        for link in places.links:
            by_page[link.page].append(link)
        for number in self._pages_of(places):
            page, foot = pages[number - 1], self._feet[number]
            page.Contents = PDFArray([page.Contents, self.canvas._doc.Reference(foot)])
            links = [self._annotation(link, *found[link.target]) for link in by_page[number] if link.target in found]
            page.Annots = PDFArray(links) if links else None
            pages[number - 1] = self._file.write(page)

    def _pages_of(self, places: Places) -> Iterator[int]:
        """The numbers of the pages of a part: those from its first one on that are not written yet."""
        pages = self.canvas._doc.Pages.pages
        for number in range(places.first_page, len(pages) + 1):
            if isinstance(pages[number - 1], PDFObjectReference):
                return
            yield number

    def _tell_pages(self, places: Places, found: dict[str, tuple[int, float]]) -> None:
        pen = self.pen(REGULAR, 8)
        for page, x, y, target in places.asked:
            if target in found:
                text = f"p. {found[target][0]:,}"
                self._feet[page].content += _line(x, y, text, pen, "right") + "\n"
                left = x - pen.width(text)
                places.links.append(Pointer(page, left, y - 3, x, y + 8, target))

    def _annotation(self, link: Pointer, page: int, y: float) -> PDFDictionary:
        to = [self.canvas._doc.Reference(self.canvas._doc.Pages.pages[page - 1]), PDFName("XYZ"), 0, round(y + 10), 0]
        rect = [round(edge, 1) for edge in (link.left, link.bottom, link.right, link.top)]
        told = {"Type": PDFName("Annot"), "Subtype": PDFName("Link"), "Border": PDFArray([0, 0, 0])}
        return PDFDictionary({**told, "Rect": PDFArray(rect), "Dest": PDFArray(to)})

    def _begin(self, head: Callable[[], None]) -> None:
        self.number += 1
        self.y = self.page_height - TOP
        head()
        self.start = self.y

    def _finish(self) -> None:
        self._draw_footer()
        self.canvas.showPage()
        page = self.canvas._doc.Pages.pages[-1]
        page.Contents, page.stream = self._file.write(_compressed(page.stream)), None
        self._feet[self.number] = PDFStream(content="")

    def _draw_masthead(self) -> None:
        head, small, large = self._masthead, self.pen(BOLD, 9), self.pen(BOLD, 19)
        self.line_of_text(self.left, self.y - 8, shorten(head.business, BOLD, 9, self.width), small, grey=GREY)
        self.y -= 32
        for line in first_lines(head.title, BOLD, 19, self.width, 4):
            self.line_of_text(self.left, self.y, line, large)
            self.y -= 23
        for text in (head.site, head.period):
            for line in first_lines(text, REGULAR, 10.5, self.width, 3):
                self.line_of_text(self.left, self.y + 4, line, self.pen(REGULAR, 10.5))
                self.y -= 14.5
        self.rule(self.y + 6, weight=1.2)
        self.y -= 12

    def _draw_running_head(self) -> None:
        head = self._masthead
        pen, bold = self.pen(REGULAR, 8), self.pen(BOLD, 8)
        period = shorten(f"{head.period}, {head.times}" if head.times else head.period, REGULAR, 8, self.width * 0.4)
        room = self.width - pen.width(period) - 14
        title = shorten(head.title, BOLD, 8, room * 0.5)
        place = shorten(f"{head.site} · {head.business}", REGULAR, 8, room - bold.width(title) - 10)
        self.line_of_text(self.left, self.y - 7, title, bold)
        self.line_of_text(self.left + bold.width(title) + 8, self.y - 7, place, pen, grey=GREY)
        self.line_of_text(self.right, self.y - 7, period, pen, align="right", grey=GREY)
        self.rule(self.y - 13)
        self.y -= 22

    def _draw_footer(self) -> None:
        mark, pen = self._imprint, self.pen(REGULAR, 7.5)
        moment = zoned_moment(mark.printed_at, mark.zone)
        room = self.width - 90
        by = shorten(mark.printed_by, REGULAR, 7.5, room - pen.width(f"Printed by , {moment}"))
        self.rule(self.bottom - 10, weight=0.5)
        self.line_of_text(self.left, self.bottom - 20, f"Printed by {by}, {moment}", pen, grey=GREY)
        if mark.note:
            note = shorten(mark.note, REGULAR, 7.5, self.width)
            self.line_of_text(self.left, self.bottom - 30.5, note, pen, grey=GREY)
        if mark.witness:
            size = 7.0 * min(1.0, self.width / self.pen(REGULAR, 7.0).width(mark.witness))
            self.line_of_text(self.left, BOTTOM - 5.5, mark.witness, self.pen(REGULAR, size), grey=GREY)

    def _number_line(self, number: int) -> str:
        text = f"Page {number:,} of {self.number:,}"
        return _line(self.right, self.bottom - 20, text, self.pen(BOLD, 8), "right") + "\n"


def linked(line: str, pen: Pen) -> tuple[tuple[float, float, str], ...]:
    """(distance from the start, width, code) of each number of an entry in a line, in points; of none written from the right."""
    found = tuple(codes_in(line))
    if not found or visual(line) != line:
        return ()
    return tuple((pen.width(line[:start]), pen.width(line[start:end]), code) for start, end, code in found)


def _line(x: float, y: float, text: str, pen: Pen, align: str, grey: float = 0) -> str:
    """Operators that draw one line."""
    text = clean(text).replace("\n", " ")
    x -= {"left": 0.0, "center": 0.5, "right": 1.0}[align] * (0 if align == "left" else pen.width(text))
    return f"q {grey:g} g BT {pen.select} 1 0 0 1 {x:.2f} {y:.2f} Tm {pen.show(text)} ET Q"


def _compressed(operators: str) -> PDFStream:
    """A page that takes little room from now on; the canvas would keep it as it is until the end, then turn it into ASCII."""
    stream = PDFStream(content=zlib.compress(operators.encode()))
    stream.dictionary["Filter"] = PDFName("FlateDecode")
    return stream
