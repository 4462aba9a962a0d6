"""A drawing as SVG for a page: named for screen readers, no style attribute, ids that do not collide.

Written straight from the strokes of marks.py: reportlab's own writer builds a document of nodes first, which took as long as all
the rest of a probe's page.
"""

import re
from collections.abc import Iterator

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe
from reportlab.graphics.shapes import Circle, Drawing, Group, Line, Path, Polygon, PolyLine, Rect, Shape, String
from reportlab.lib.colors import Color

_PREFIX = re.compile(r"[A-Za-z][\w-]*")
_RIGHT_TO_LEFT = re.compile("[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc]")
# The drawing holds words in the order in which they stand on paper; a browser must not turn them again.
_AS_THEY_STAND = ' direction="ltr" unicode-bidi="bidi-override"'


def to_svg(drawing: Drawing, title: str, desc: str, *, prefix: str = "chart") -> SafeString:
    """The SVG element for a drawing. `title` names it in a few words, `desc` says in sentences what it shows.

    Give pictures on one page different prefixes: their ids are made from them.

    Raises:
        ValueError: when the prefix is no name or the title is empty.
    """
    if not _PREFIX.fullmatch(prefix):
        raise ValueError(f"The prefix {prefix!r} must begin with a letter and hold letters, digits, - and _ only.")
    if not title.strip():
        raise ValueError("A picture needs a title; screen readers have nothing else to say.")
    width, height = _number(drawing.width), _number(drawing.height)
    named = "".join(
        f'<{tag} id="{prefix}-{tag}">{_said(text)}</{tag}>' for tag, text in (("title", title), ("desc", desc))
    )
    # Every text is escaped; all else is numbers and names of our own.
    return mark_safe(
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}"'
        f' class="chart" role="img" focusable="false" aria-labelledby="{prefix}-title {prefix}-desc">'
        f"{named}{''.join(_strokes(drawing, drawing.height))}</svg>"
    )


def _said(text: str) -> str:
    return escape("".join(c if c.isprintable() else " " for c in text))


def _strokes(group: Group, top: float) -> Iterator[str]:
    """Heights are counted from above in SVG, and from below in a drawing."""
    for shape in group.contents:
        if isinstance(shape, Group):
            yield from _strokes(shape, top)
        else:
            yield _WRITERS[type(shape)](shape, top)


def _line(line: Line, top: float) -> str:
    start, end = _place(line.x1, line.y1, top), _place(line.x2, line.y2, top)
    return f'<path d="M {start} L {end}"{_edge(line)}/>'


def _rect(rect: Rect, top: float) -> str:
    x, y = min(rect.x, rect.x + rect.width), max(rect.y, rect.y + rect.height)
    return (
        f'<rect x="{_number(x)}" y="{_number(top - y)}" width="{_number(abs(rect.width))}"'
        f' height="{_number(abs(rect.height))}"{_fill(rect.fillColor)}{_edge(rect)}/>'
    )


def _circle(circle: Circle, top: float) -> str:
    middle = f'cx="{_number(circle.cx)}" cy="{_number(top - circle.cy)}" r="{_number(circle.r)}"'
    return f"<circle {middle}{_fill(circle.fillColor)}{_edge(circle)}/>"


def _polygon(polygon: Polygon, top: float) -> str:
    return f'<polygon points="{_places(polygon.points, top)}"{_fill(polygon.fillColor)}{_edge(polygon)}/>'


def _bent(line: PolyLine, top: float) -> str:
    return f'<polyline points="{_places(line.points, top)}" fill="none"{_edge(line)} stroke-linejoin="round"/>'


def _hatching(path: Path, top: float) -> str:
    """Of lines that each begin anew."""
    places = iter(_places(path.points, top).split())
    steps = " ".join(f"{_STEPS[operator]} {next(places)}" for operator in path.operators)
    return f'<path d="{steps}" fill="none"{_edge(path)}/>'


def _text(text: String, top: float) -> str:
    anchor = "" if text.textAnchor == "start" else f' text-anchor="{text.textAnchor}"'
    strong = ' font-weight="700"' if "Bold" in text.fontName else ""
    turned = _AS_THEY_STAND if _RIGHT_TO_LEFT.search(text.text) else ""
    return (
        f'<text x="{_number(text.x)}" y="{_number(top - text.y)}" font-size="{_number(text.fontSize)}px"'
        f"{anchor}{strong}{turned}{_fill(text.fillColor)}>{escape(text.text)}</text>"
    )


_STEPS = {0: "M", 1: "L"}
_WRITERS = {
    Circle: _circle,
    Line: _line,
    Path: _hatching,
    Polygon: _polygon,
    PolyLine: _bent,
    Rect: _rect,
    String: _text,
}


def _fill(colour: Color | None) -> str:
    return f' fill="{_colour(colour) if colour else "none"}"'


def _edge(shape: Shape) -> str:
    if shape.strokeColor is None:
        return ""
    dash = f' stroke-dasharray="{", ".join(map(_number, shape.strokeDashArray))}"' if shape.strokeDashArray else ""
    return f' stroke="{_colour(shape.strokeColor)}" stroke-width="{_number(shape.strokeWidth)}"{dash}'


def _colour(colour: Color) -> str:
    return "#" + "".join(f"{round(255 * part):02x}" for part in colour.rgb())


def _places(numbers: list[float], top: float) -> str:
    return " ".join(_place(x, y, top) for x, y in zip(numbers[::2], numbers[1::2], strict=True))


def _place(x: float, y: float, top: float) -> str:
    return f"{_number(x)},{_number(top - y)}"


def _number(number: float) -> str:
    return f"{number:.2f}".rstrip("0").rstrip(".")
