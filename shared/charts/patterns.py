"""How standings and verdicts look: each has a pattern or shape of its own, so that no colour is needed."""

from dataclasses import dataclass

from reportlab.graphics.shapes import Group
from reportlab.lib.colors import Color

from shared.charts.marks import box, disc, line, shape, slanting, word
from shared.charts.palette import BAD, BAND, DOUBT, GOOD, INK, PAPER, QUIET


@dataclass(frozen=True, slots=True)
class StandingPattern:
    """The word for a standing and what it means, for the key."""

    word: str
    meaning: str


STANDINGS = {
    "proven": StandingPattern("proven", "good checks on both sides"),
    "pending": StandingPattern("pending", "waiting for the next check"),
    "quarantined": StandingPattern("quarantined", "not to be relied on"),
    "unproven": StandingPattern("unproven", "no good check before"),
}
VERDICTS = {
    "in_tolerance": "in tolerance",
    "out_of_tolerance": "out of tolerance",
    "inconclusive": "inconclusive",
}


def span_box(x: float, y: float, width: float, height: float, standing: str) -> Group:
    """A span: plain, sparsely slanted, crossed, or dashed and empty.

    Raises:
        ValueError: for a standing that is not known.
    """
    group = Group()
    if standing == "proven":
        group.add(box((x, y), (width, height), fill=BAND, edge=INK, weight=1.0))
    elif standing == "pending":
        group.add(box((x, y), (width, height), fill=PAPER, edge=None))
        group.add(slanting((x, y), (width, height), gap=10))
        group.add(box((x, y), (width, height)))
    elif standing == "quarantined":
        group.add(box((x, y), (width, height), fill=PAPER, edge=None))
        for rising in (True, False):
            group.add(slanting((x, y), (width, height), gap=5, rising=rising, colour=BAD, weight=0.8))
        group.add(box((x, y), (width, height), edge=BAD, weight=1.4))
    elif standing == "unproven":
        group.add(box((x, y), (width, height), fill=PAPER, edge=QUIET, weight=0.9, dash=(3, 2)))
    else:
        raise ValueError(f"The standing {standing!r} is not known; use one of {', '.join(STANDINGS)}.")
    return group


def dot_mark(x: float, y: float, verdict: str, stage: str, void: bool) -> Group:
    """A check: disc in tolerance, diamond out of it, open triangle inconclusive; framed as left; crossed out void.

    Raises:
        ValueError: for a verdict that is not known.
    """
    if verdict not in VERDICTS:
        raise ValueError(f"The verdict {verdict!r} is not known; use one of {', '.join(VERDICTS)}.")
    group = Group()
    if stage == "as_left":
        group.add(box((x - 6.5, y - 6.5), (13, 13), fill=PAPER, edge=QUIET if void else INK, weight=1.0))
    for part in _sign(x, y, verdict, void):
        group.add(part)
    if void:
        group.add(line((x - 6, y - 6), (x + 6, y + 6), colour=QUIET, weight=1.3))
        group.add(line((x - 6, y + 6), (x + 6, y - 6), colour=QUIET, weight=1.3))
    return group


def _sign(x: float, y: float, verdict: str, void: bool) -> list:
    edge = QUIET if void else INK
    fill: Color | None = PAPER if void else {"in_tolerance": GOOD, "out_of_tolerance": BAD}.get(verdict, PAPER)
    if verdict == "in_tolerance":
        return [disc(x, y, 3.8, fill=fill, edge=edge, weight=1.0)]
    if verdict == "out_of_tolerance":
        return [shape([(x - 5.4, y), (x, y + 5.4), (x + 5.4, y), (x, y - 5.4)], fill=fill, edge=edge, weight=1.0)]
    edge = QUIET if void else DOUBT
    return [shape([(x - 4.8, y - 3.6), (x, y + 5), (x + 4.8, y - 3.6)], fill=fill, edge=edge, weight=1.5)]


def flag_mark(x: float, y: float, text: str) -> Group:
    """A numbered tag for something that happened to the probe."""
    half = 6.5 if len(text) == 1 else 9
    return Group(
        box((x - half, y - 6.5), (2 * half, 13), fill=INK, edge=None),
        word((x, y - 3.3), text, size=9.5, anchor="middle", colour=PAPER, strong=True),
    )
