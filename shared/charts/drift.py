"""How far a probe is off from check to check, where that leads, and when it may leave its tolerance."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from itertools import pairwise
from math import ceil

from reportlab.graphics.shapes import Drawing, Group

from shared.charts.axes import AxisUnit, Frame, Scale, digits_of, nice_ticks, number, time_ticks, unit_of
from shared.charts.legend import LegendEntry, place, rows_of
from shared.charts.marks import box, disc, line, path, shape, sheet, width_of, word
from shared.charts.palette import BAD, BAND, BOLD_LINE, GRID, HATCH, INK, LINE, MARK, PAPER, QUIET, SMALL, THIN
from shared.time_text import short_day

_AXIS, _NARROW, _TOP = 20.0, 480.0, 38.0


@dataclass(frozen=True, slots=True)
class Found:
    """A check: its time, the error that it found and the expanded uncertainty of that, °C; `used` for the trend or not."""

    at: datetime
    error: float
    expanded: float
    used: bool = True


@dataclass(frozen=True, slots=True)
class Course:
    """One time of the forecast: where the error of the next check is expected, and within which bounds, °C."""

    at: datetime
    centre: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Turn:
    """Something that changed the probe's error: an adjustment, a jump."""

    at: datetime
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftFrame(Frame):
    """With the present, between start and end, and when the error may leave the tolerance, or None."""

    now: datetime
    leaves: datetime | None = None


def drift_picture(
    found: Sequence[Found],
    trend: Sequence[tuple[datetime, float]] = (),
    course: Sequence[Course] = (),
    turns: Sequence[Turn] = (),
    *,
    frame: DriftFrame,
    size: tuple[float, float] = (720, 320),
) -> Drawing:
    """Draw the errors of a probe, their trend to the present of its frame and its forecast to the end.

    Args:
        found, trend, course, turns: what to show, in any order; what lies outside the period is left out. `trend` is
            the error with the scatter of the checks averaged out, °C; `course` goes on from the last check.
        size: width and height in points; under 480 wide the labels get fewer. The picture grows where its key needs more room.

    Raises:
        ValueError: for a tolerance that is not above zero, times without a zone or in the wrong order, an unknown unit.
    """
    (width, height), start, now, end = size, frame.start, frame.now, frame.end
    tolerance, leaves, zone = frame.tolerance, frame.leaves, frame.zone
    if tolerance <= 0:
        raise ValueError("A tolerance has to be above zero.")
    ticks = time_ticks(start, end, zone, max(3, int((width - 60) / 88)))
    if not start <= now <= end:
        raise ValueError("The present has to lie between the start and the end of the picture.")
    found = sorted((f for f in found if start <= f.at <= end), key=lambda f: f.at)
    trend = sorted((at, error) for at, error in trend if start <= at <= end)
    course = sorted((c for c in course if start <= c.at <= end), key=lambda c: c.at)
    turns = sorted((t for t in turns if start <= t.at <= end), key=lambda t: t.at)
    leaves, scale = leaves if leaves and now <= leaves <= end else None, unit_of(frame.unit)
    key = rows_of(_key(found, trend, course, turns, leaves, zone), width - 16, SMALL)
    foot = len(key) * 16 + 8
    drawing = sheet(width, max(height, foot + _AXIS + 190))
    reach = scale.difference(_reach(found, course, tolerance))
    errors = nice_ticks(-reach, reach, 6)
    left = 12 + max(width_of(_signed(t, errors), SMALL) for t in errors)
    across = Scale(start.timestamp(), end.timestamp(), left, width - 12)
    up = Scale(-reach, reach, foot + _AXIS, drawing.height - _TOP)
    _field(drawing, across, up, errors, scale, tolerance)
    _ahead(drawing, across, up, course, scale)
    _lines(drawing, across, up, errors, scale, tolerance)
    _trend(drawing, across, up, _pieces(trend, turns), course, scale)
    _time_axis(drawing, across, ticks, foot)
    _turns(drawing, across, up, turns)
    _now(drawing, across, up, now, brief=width < _NARROW)
    _checks(drawing, across, up, found, scale)
    _leaving(drawing, across, up, leaves)
    place(drawing, key, 8, foot - 12, SMALL)
    return drawing


def _reach(found: Sequence[Found], course: Sequence[Course], tolerance: float) -> float:
    """How far the axis goes to either side, °C: far enough for what is shown, but never past two and a half tolerances."""
    furthest = [abs(f.error) + f.expanded for f in found] + [max(abs(c.low), abs(c.high)) for c in course]
    return min(max(tolerance * 1.4, max(furthest, default=0.0) * 1.08), tolerance * 2.5)


def _signed(tick: float, ticks: list[float]) -> str:
    text = number(tick, digits_of(ticks))
    return f"+{text}" if tick > 0 else text


def _field(drawing, across: Scale, up: Scale, ticks, scale: AxisUnit, tolerance: float) -> None:
    low, high = up(-scale.difference(tolerance)), up(scale.difference(tolerance))
    drawing.add(box((across.start, low), (across.end - across.start, high - low), fill=BAND, edge=None))
    for tick in ticks:
        drawing.add(line((across.start, up(tick)), (across.end, up(tick)), colour=GRID, weight=THIN))
        drawing.add(word((across.start - 5, up(tick) - 3.3), _signed(tick, ticks), size=SMALL, anchor="end"))


def _ahead(drawing, across: Scale, up: Scale, course: Sequence[Course], scale: AxisUnit) -> None:
    """The forecast as hatching between its bounds, so that it is told without colour."""
    for bound in ("low", "high"):
        places = [(across(c.at.timestamp()), up.clip(scale.difference(getattr(c, bound)))) for c in course]
        if len(places) > 1:
            drawing.add(path(places, colour=QUIET, weight=THIN))
    for here, there in pairwise(course):
        for x in _rungs(across(here.at.timestamp()), across(there.at.timestamp())):
            share = (x - across(here.at.timestamp())) / (across(there.at.timestamp()) - across(here.at.timestamp()))
            low, high = (
                up.clip(scale.difference(a + share * (b - a)))
                for a, b in ((here.low, there.low), (here.high, there.high))
            )
            drawing.add(line((x, low), (x, high), colour=HATCH, weight=THIN))


def _rungs(start: float, end: float, gap: float = 4.0) -> list[float]:
    """Places of upright hatching, the same from strip to strip."""
    return [n * gap for n in range(ceil(start / gap), ceil(end / gap))]


def _lines(drawing, across: Scale, up: Scale, ticks, scale: AxisUnit, tolerance: float) -> None:
    drawing.add(line((across.start, up(0)), (across.end, up(0)), weight=LINE))
    for side in (-1, 1):
        y = up(side * scale.difference(tolerance))
        drawing.add(line((across.start, y), (across.end, y), colour=QUIET, weight=1.2, dash=(6, 3)))
    drawing.add(word((8, drawing.height - 14), f"Error of the probe, {scale.sign}", size=SMALL, colour=QUIET))
    digits = digits_of([scale.difference(tolerance)])
    said = f"Tolerance ±{number(scale.difference(tolerance), digits)} {scale.sign} (dashed)"
    drawing.add(word((across.end, drawing.height - 14), said, size=SMALL, anchor="end", colour=QUIET))


def _pieces(trend: Sequence[tuple[datetime, float]], turns: Sequence[Turn]) -> list[list[tuple[datetime, float]]]:
    """The trend cut wherever something changed it at once."""
    pieces: list[list[tuple[datetime, float]]] = []
    for position, point in enumerate(trend):
        before = trend[position - 1][0] if position else None
        if before is None or any(before < turn.at <= point[0] for turn in turns):
            pieces.append([])
        pieces[-1].append(point)
    return pieces


def _trend(drawing, across: Scale, up: Scale, pieces, course: Sequence[Course], scale: AxisUnit) -> None:
    for piece in pieces:
        past = [(across(at.timestamp()), up.clip(scale.difference(error))) for at, error in piece]
        if len(past) > 1:
            drawing.add(path(past, colour=MARK, weight=BOLD_LINE))
    ahead = [(across(c.at.timestamp()), up.clip(scale.difference(c.centre))) for c in course]
    if len(ahead) > 1:
        (x1, y1), (x2, y2) = ahead[0], ahead[-1]
        straight = all(abs(y1 + (x - x1) / (x2 - x1) * (y2 - y1) - y) < 0.5 for x, y in ahead)
        for (xa, ya), (xb, yb) in [(ahead[0], ahead[-1])] if straight else pairwise(ahead):
            drawing.add(line((xa, ya), (xb, yb), colour=MARK, weight=BOLD_LINE, dash=(6, 3)))


def _time_axis(drawing, across: Scale, ticks, foot: float) -> None:
    base = foot + _AXIS
    for at, label in ticks:
        x = across(at.timestamp())
        drawing.add(line((x, base), (x, base - 4), colour=QUIET))
        half = width_of(label, SMALL) / 2
        middle = min(max(x, across.start - 8 + half), across.end - half)
        drawing.add(word((middle, base - 14), label, size=SMALL, anchor="middle"))


def _turns(drawing, across: Scale, up: Scale, turns: Sequence[Turn]) -> None:
    for turn in turns:
        x = across(turn.at.timestamp())
        drawing.add(line((x, up.start), (x, up.end), colour=INK, weight=0.8, dash=(1.5, 2.5)))
        drawing.add(_wedge(x, up.end))


def _wedge(x: float, top: float):
    return shape([(x - 4.5, top + 8), (x + 4.5, top + 8), (x, top)], fill=PAPER, edge=INK, weight=1.0)


def _now(drawing, across: Scale, up: Scale, now: datetime, *, brief: bool) -> None:
    x, said = across(now.timestamp()), "now" if brief else "today"
    drawing.add(line((x, up.start), (x, up.end), colour=QUIET, weight=LINE))
    ends = x > across.end - 40
    side = "end" if ends else "start"
    drawing.add(word((x - 4 if ends else x + 4, up.start + 4), said, size=SMALL, anchor=side, colour=QUIET))


def _checks(drawing, across: Scale, up: Scale, found: Sequence[Found], scale: AxisUnit) -> None:
    for one in found:
        _check(drawing, across, up, one, scale)
    if not found:
        drawing.add(word(((across.start + across.end) / 2, up(0) + 7), "No checks yet", anchor="middle", colour=QUIET))


def _check(drawing, across: Scale, up: Scale, one: Found, scale: AxisUnit) -> None:
    x, error, spread = across(one.at.timestamp()), scale.difference(one.error), scale.difference(one.expanded)
    colour = INK if one.used else QUIET
    low, high = up.clip(error - spread), up.clip(error + spread)
    if high > low:
        drawing.add(line((x, low), (x, high), colour=colour, weight=LINE))
    drawing.add(disc(x, up.clip(error), 3.4, fill=MARK if one.used else PAPER, edge=colour))
    if abs(error) > up.high:
        _off_the_scale(drawing, x, up.clip(error), error, to_left=x > (across.start + across.end) / 2)


def _off_the_scale(drawing, x: float, y: float, error: float, *, to_left: bool) -> None:
    """Say the figure of an error that the axis does not reach."""
    text = f"+{number(error, 1)} ↑" if error > 0 else f"{number(error, 1)} ↓"
    room = width_of(text, SMALL) + 4
    left, base = x - 8 - room if to_left else x + 8, y - 10 if error > 0 else y + 3
    drawing.add(box((left, base - 2), (room, 11), fill=PAPER, edge=None))
    drawing.add(word((left + 2, base), text, size=SMALL))


def _leaving(drawing, across: Scale, up: Scale, leaves: datetime | None) -> None:
    if leaves is None:
        return
    x = across(leaves.timestamp())
    drawing.add(line((x, up.start), (x, up.end), colour=BAD, weight=1.4, dash=(3, 3)))
    drawing.add(_cross(x, up.end + 5))


def _cross(x: float, y: float):
    return shape([(x, y - 5), (x + 5, y), (x, y + 5), (x - 5, y)], fill=BAD, edge=BAD)


def _key(found, trend, course, turns, leaves: datetime | None, zone: tzinfo) -> list[LegendEntry]:
    """What the marks in this picture mean; only those that occur in it."""
    entries = []
    if any(f.used for f in found):
        entries.append(LegendEntry("a check, with its uncertainty", 10, lambda x, y: _sign(x + 5, y + 3.4, True)))
    if not all(f.used for f in found):
        entries.append(LegendEntry("before the last change", 10, lambda x, y: _sign(x + 5, y + 3.4, False)))
    if course:
        entries.append(
            LegendEntry(
                "trend, and where it leads",
                26,
                lambda x, y: line((x, y + 3.4), (x + 26, y + 3.4), colour=MARK, weight=1.8),
            )
        )
    if course:
        entries.append(LegendEntry("95 of 100 checks to come fall here", 22, _hatched))
    entries += [LegendEntry(f"{t.label}, {_day(t.at, zone)}", 10, lambda x, y: _wedge(x + 5, y - 1)) for t in turns]
    if leaves:
        said = f"may leave its tolerance, {_day(leaves, zone)} {leaves.astimezone(zone).year}"
        entries.append(LegendEntry(said, 10, lambda x, y: _cross(x + 5, y + 3.4)))
    return entries


def _hatched(x: float, y: float) -> Group:
    group = Group()
    for rung in range(0, 23, 4):
        group.add(line((x + rung, y - 2), (x + rung, y + 9), colour=HATCH, weight=THIN))
    return group


def _sign(x: float, y: float, used: bool):
    return disc(x, y, 3.4, fill=MARK if used else PAPER, edge=INK if used else QUIET)


def _day(at: datetime, zone: tzinfo) -> str:
    return short_day(at.astimezone(zone))
