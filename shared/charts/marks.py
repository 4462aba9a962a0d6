"""The few strokes that all pictures are made of: words, lines, hatched boxes, marks."""

from reportlab.graphics.shapes import Circle, Drawing, Line, Path, Polygon, PolyLine, Rect, String
from reportlab.lib.colors import Color

from shared.charts.palette import HATCH, INK, LINE, PAPER, TEXT, THIN
from shared.printing.fonts import BOLD, REGULAR, face
from shared.printing.text import clean, measure, visual

Place = tuple[float, float]  # points to the right and up


def sheet(width: float, height: float) -> Drawing:
    """An empty picture on white paper; sizes in points."""
    width, height = round(width), round(height)  # the SVG writer turns whole points over only
    drawing = Drawing(width, height)
    drawing.add(Rect(0, 0, width, height, fillColor=PAPER, strokeColor=None))
    return drawing


def word(
    at: Place,
    text: str,
    *,
    size: float = TEXT,
    anchor: str = "start",
    colour: Color = INK,
    strong: bool = False,
) -> String:
    """Text with its baseline at a place; `anchor` is start, middle or end."""
    font = BOLD if strong else REGULAR
    face(font)
    return String(*at, visual(clean(text)), fontName=font, fontSize=size, textAnchor=anchor, fillColor=colour)


def width_of(text: str, size: float = TEXT, *, strong: bool = False) -> float:
    """Width of a word in points."""
    return measure(clean(text), BOLD if strong else REGULAR, size)


def line(
    start: Place,
    end: Place,
    *,
    colour: Color = INK,
    weight: float = LINE,
    dash: tuple[float, ...] | None = None,
) -> Line:
    """A straight stroke."""
    return Line(*start, *end, strokeColor=colour, strokeWidth=weight, strokeDashArray=dash, strokeLineCap=0)


def box(
    corner: Place,
    size: Place,
    *,
    fill: Color | None = None,
    edge: Color | None = INK,
    weight: float = THIN,
    dash: tuple[float, ...] | None = None,
) -> Rect:
    """A rectangle from its lower left corner; `size` is its width and height."""
    return Rect(*corner, *size, fillColor=fill, strokeColor=edge, strokeWidth=weight, strokeDashArray=dash)


def path(points: list[tuple[float, float]], *, colour: Color = INK, weight: float = LINE) -> PolyLine:
    """A line through points."""
    return PolyLine([c for p in points for c in p], strokeColor=colour, strokeWidth=weight, strokeLineJoin=1)


def slanting(
    corner: Place,
    size: Place,
    *,
    gap: float,
    rising: bool = True,
    colour: Color = HATCH,
    weight: float = THIN,
) -> Path:
    """Slanting hatching cut exactly to a rectangle, so that no renderer has to clip it; in one stroke, since there are hundreds
    of lines."""
    (x, y), (width, height), offset = corner, size, gap / 2
    strokes = Path(fillColor=None, strokeColor=colour, strokeWidth=weight, strokeLineCap=0)
    while offset < width + height:
        x1, y1 = (offset, 0.0) if offset <= width else (width, offset - width)
        x2, y2 = (0.0, offset) if offset <= height else (offset - height, height)
        if rising:
            x1, x2 = width - x1, width - x2
        strokes.moveTo(x + x1, y + y1)
        strokes.lineTo(x + x2, y + y2)
        offset += gap
    return strokes


def disc(x: float, y: float, radius: float, *, fill: Color | None, edge: Color = INK, weight: float = 1.2) -> Circle:
    """A round mark."""
    return Circle(x, y, radius, fillColor=fill, strokeColor=edge, strokeWidth=weight)


def shape(points: list[tuple[float, float]], *, fill: Color | None, edge: Color = INK, weight: float = 1.2) -> Polygon:
    """A mark with corners."""
    return Polygon([c for p in points for c in p], fillColor=fill, strokeColor=edge, strokeWidth=weight)
