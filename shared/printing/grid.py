"""Sheets of equal labels: where each lies on its paper. Lengths in points, from the lower left corner of the page."""

from collections.abc import Iterator
from dataclasses import dataclass

INCH = 72.0
MM = INCH / 25.4
# ISO 216 for A4; ANSI/ASME Y14.1 for Letter.
PAPERS = {"A4": (210 * MM, 297 * MM), "Letter": (8.5 * INCH, 11 * INCH)}


@dataclass(frozen=True, slots=True)
class Box:
    left: float
    bottom: float
    width: float
    height: float

    @property
    def right(self) -> float:
        return self.left + self.width

    @property
    def top(self) -> float:
        return self.bottom + self.height

    def within(self, margin: float) -> "Box":
        """What is left of it inside a margin on all four sides."""
        return Box(self.left + margin, self.bottom + margin, self.width - 2 * margin, self.height - 2 * margin)


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Labels in the middle of their paper, in rows that touch and columns that are `gap` apart; `size` says how large each is."""

    size: str
    paper: str
    width: float
    height: float
    columns: int
    rows: int
    gap: float

    @property
    def count(self) -> int:
        """How many labels are on one sheet."""
        return self.columns * self.rows

    @property
    def words(self) -> str:
        return f"{self.size}: {self.rows} rows of {self.columns}, on {self.paper}"

    def box(self, number: int) -> Box:
        """The label of this number on a sheet: 1 is at the top left, 2 beside it."""
        row, column = divmod(number - 1, self.columns)
        page_width, page_height = PAPERS[self.paper]
        left = (page_width - self.columns * self.width - (self.columns - 1) * self.gap) / 2
        top = (page_height + self.rows * self.height) / 2
        return Box(left + column * (self.width + self.gap), top - (row + 1) * self.height, self.width, self.height)

    def boxes(self, first: int) -> Iterator[tuple[int, Box]]:
        """Without end, each label from that number on with its sheet, the sheet begun being 0."""
        place = first - 1
        while True:
            sheet, on_sheet = divmod(place, self.count)
            yield sheet, self.box(on_sheet + 1)
            place += 1


# By paper and number of labels.
GRIDS = {
    "a4-21": Grid(
        size="63.5 × 38.1 mm", paper="A4", width=63.5 * MM, height=38.1 * MM, columns=3, rows=7, gap=2.54 * MM
    ),
    "a4-65": Grid(
        size="38.1 × 21.2 mm", paper="A4", width=38.1 * MM, height=21.2 * MM, columns=5, rows=13, gap=2.5 * MM
    ),
    "letter-10": Grid(
        size="4 × 2 in", paper="Letter", width=4 * INCH, height=2 * INCH, columns=2, rows=5, gap=3 / 16 * INCH
    ),
    "letter-30": Grid(
        size="2⅝ × 1 in", paper="Letter", width=2.625 * INCH, height=1 * INCH, columns=3, rows=10, gap=1 / 8 * INCH
    ),
}
USUAL = {"A4": "a4-21", "Letter": "letter-30"}
