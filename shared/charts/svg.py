"""A drawing as SVG for a page: named for screen readers, no style attribute, ids that do not collide."""

import re
from xml.dom.minidom import Element

from django.utils.safestring import SafeString, mark_safe
from reportlab.graphics import renderSVG
from reportlab.graphics.shapes import Drawing

_PREFIX = re.compile(r"[A-Za-z][\w-]*")
_DROPPED = {"xmlns:xlink", "version", "preserveAspectRatio", "fill-rule"}
_LONG_NUMBER = re.compile(r"-?\d+\.\d{3,}")
_RIGHT_TO_LEFT = re.compile("[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc]")
_PERCENT = re.compile(r"rgb\((\d+)%,(\d+)%,(\d+)%\)")


class _Canvas(renderSVG.SVGCanvas):
    """Leaves the anchoring of words to the browser, whose typeface is not the one of the print."""

    def drawString(self, s, x, y, angle=0, link_info=None, text_anchor="left", **options):  # noqa: N802 - inherited name
        anchor = {"end": "end", "middle": "middle"}.get(text_anchor)
        attributes = {"text-anchor": anchor} if anchor else {}
        super().drawString(s, x, y, angle=angle, link_info=link_info, text_anchor="start", **options, **attributes)


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
    canvas = _Canvas((drawing.width, drawing.height))
    renderSVG.draw(drawing, canvas, 0, 0, showBoundary=0)
    _tidy_root(canvas.svg, drawing, prefix)
    _name(canvas.svg, title, desc, prefix)
    for element in list(canvas.svg.getElementsByTagName("*")):
        _tidy(element)
    # minidom has escaped every text and attribute.
    return mark_safe(canvas.svg.toxml())


def _tidy_root(svg: Element, drawing: Drawing, prefix: str) -> None:
    for name in _DROPPED:
        if svg.hasAttribute(name):
            svg.removeAttribute(name)
    for name, value in {
        "viewBox": f"0 0 {drawing.width:g} {drawing.height:g}",
        "width": f"{drawing.width:g}",
        "height": f"{drawing.height:g}",
        "class": "chart",
        "role": "img",
        "focusable": "false",
        "aria-labelledby": f"{prefix}-title {prefix}-desc",
    }.items():
        svg.setAttribute(name, value)
    for clip in svg.getElementsByTagName("clipPath"):
        svg.removeChild(clip)


def _name(svg: Element, title: str, desc: str, prefix: str) -> None:
    for tag, text in (("title", title), ("desc", desc)):
        element = svg.getElementsByTagName(tag)[0]
        element.setAttribute("id", f"{prefix}-{tag}")
        element.firstChild.data = "".join(c if c.isprintable() else " " for c in text)


def _tidy(element: Element) -> None:
    """Turn the style into presentation attributes; the page's own typeface sets the words."""
    if element.tagName == "g" and element.hasAttribute("id"):
        element.removeAttribute("id")
    if element.hasAttribute("transform") and not element.getAttribute("transform"):
        element.removeAttribute("transform")  # one that is empty is an error to some browsers
    if element.hasAttribute("style"):
        for name, value in _declarations(element.getAttribute("style")):
            element.setAttribute(name, value)
        element.removeAttribute("style")
    for name in ("d", "points", "x", "y", "x1", "x2", "y1", "y2", "cx", "cy", "width", "height"):
        if element.hasAttribute(name):
            element.setAttribute(name, _LONG_NUMBER.sub(_shorter, element.getAttribute(name)))
    if element.tagName == "path":
        # A straight line is written as a closed path; drawn there and back, its dashes would fill their own gaps.
        element.setAttribute("d", element.getAttribute("d").removesuffix(" Z"))
    if element.tagName == "text":
        if "Bold" in element.getAttribute("font-family"):
            element.setAttribute("font-weight", "700")
        element.removeAttribute("font-family")
        _upright(element)


def _upright(text: Element) -> None:
    """The drawing is turned over; each text is turned back about its baseline, to the last decimal."""
    y = float(text.getAttribute("y"))
    text.setAttribute("transform", f"translate(0,{2 * y:.2f}) scale(1,-1)")
    if _RIGHT_TO_LEFT.search(text.firstChild.data):
        # The drawing holds words in the order in which they stand on paper; a browser must not turn them again.
        text.setAttribute("direction", "ltr")
        text.setAttribute("unicode-bidi", "bidi-override")


def _shorter(number: re.Match[str]) -> str:
    return f"{float(number.group()):.2f}".rstrip("0").rstrip(".")


def _declarations(style: str) -> list[tuple[str, str]]:
    pairs = (part.split(":", 1) for part in style.split(";") if ":" in part)
    return [(name.strip(), _colour(value.strip())) for name, value in pairs if name.strip() != "clip-path"]


def _colour(value: str) -> str:
    match = _PERCENT.fullmatch(value)
    return "#" + "".join(f"{round(int(g) * 2.55):02x}" for g in match.groups()) if match else value
