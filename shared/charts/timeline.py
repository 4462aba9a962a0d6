"""A probe's timeline: errors with their uncertainty against the tolerance, and what the spans between are worth."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from reportlab.graphics.shapes import Drawing

from shared.charts.axes import Axes, AxisUnit, Frame, Scale, digits_of, nice_ticks, number, time_ticks, unit_of
from shared.charts.legend import LegendEntry, place, rows_of
from shared.charts.marks import box, line, sheet, slanting, width_of, word
from shared.charts.palette import BAND, GRID, INK, LINE, PAPER, QUIET, SMALL, THIN
from shared.charts.patterns import STANDINGS, VERDICTS, dot_mark, flag_mark, span_box
from shared.time_text import short_day

_STRIP, _AXIS, _NARROW, LOW = 18.0, 20.0, 480.0, 150.0


@dataclass(frozen=True, slots=True)
class Band:
    """A span of time (None: no end on that side) and its standing: proven, pending, quarantined or unproven."""

    start: datetime | None
    end: datetime | None
    standing: str


@dataclass(frozen=True, slots=True)
class Dot:
    """A check: its time, error and expanded uncertainty in °C (None where it found none), verdict and stage."""

    at: datetime
    error: float | None
    expanded: float | None
    verdict: str
    stage: str = "as_found"
    void: bool = False


@dataclass(frozen=True, slots=True)
class Flag:
    """Something that happened to the probe."""

    at: datetime
    label: str


def probe_timeline(
    spans: Sequence[Band],
    checks: Sequence[Dot],
    events: Sequence[Flag] = (),
    *,
    frame: Frame,
    size: tuple[float, float] = (720, 300),
) -> Drawing:
    """Draw the timeline of a probe from the start of its frame to the end.

    Args:
        spans, checks, events: what to show, in any order; what lies outside the period is left out.
        size: width and height in points; under 480 wide the labels get fewer. The picture grows where its key needs more room.
            One that is at most 150 high is low: its scale gets fewer marks.

    Raises:
        ValueError: for a tolerance that is not above zero, times without a zone or in the wrong order, an unknown
            unit, standing or verdict.
    """
    (width, height), start, end, tolerance = size, frame.start, frame.end, frame.tolerance
    if tolerance <= 0:
        raise ValueError("A tolerance has to be above zero.")
    ticks = time_ticks(start, end, frame.zone, max(3, int((width - 60) / 88)))
    checks = sorted((c for c in checks if start <= c.at <= end), key=lambda c: c.at)
    events = sorted((e for e in events if start <= e.at <= end), key=lambda e: e.at)
    spans = [s for s in spans if (s.start is None or s.start < end) and (s.end is None or s.end > start)]
    scale = unit_of(frame.unit)
    key = rows_of(_key(spans, checks, events, frame.zone, brief=width < _NARROW), width - 16, SMALL)
    foot = len(key) * 16 + 8
    low = height <= LOW
    height = max(height, foot + _AXIS + _STRIP + (98 if low else 170))
    drawing = sheet(width, height)
    reach = _reach(checks, tolerance)
    errors = nice_ticks(-scale.difference(reach), scale.difference(reach), 3 if low else 6)
    left = 12 + max(width_of(_signed(t, errors), SMALL) for t in errors)
    across = Scale(start.timestamp(), end.timestamp(), left, width - 12)
    up = Scale(-scale.difference(reach), scale.difference(reach), foot + _AXIS + _STRIP + 6, height - 38)
    _field(drawing, Axes(across, up, scale), spans, errors, tolerance)
    _time_axis(drawing, across, ticks, foot)
    _strip(drawing, across, spans, foot + _AXIS)
    _flags(drawing, across, up, events)
    if not checks:
        middle = (across.start + across.end) / 2
        drawing.add(word((middle, up(0) + 7), "No checks in this period", anchor="middle", colour=QUIET))
    for check in checks:
        _check(drawing, across, up, check, scale)
    place(drawing, key, 8, foot - 12, SMALL)
    return drawing


def _reach(checks: Sequence[Dot], tolerance: float) -> float:
    """How far the axis goes to either side, °C: far enough for the errors, but never past two and a half tolerances."""
    furthest = max((abs(c.error) + (c.expanded or 0) for c in checks if c.error is not None), default=0.0)
    return min(max(tolerance * 1.5, furthest * 1.12), tolerance * 2.5)


def _signed(tick: float, ticks: list[float]) -> str:
    text = number(tick, digits_of(ticks))
    return f"+{text}" if tick > 0 else text


def _field(drawing, axes: Axes, spans, ticks, tolerance: float) -> None:
    across, up, scale = axes.across, axes.up, axes.scale
    low, high = up(-scale.difference(tolerance)), up(scale.difference(tolerance))
    drawing.add(box((across.start, low), (across.end - across.start, high - low), fill=BAND, edge=None))
    for tick in ticks:
        drawing.add(line((across.start, up(tick)), (across.end, up(tick)), colour=GRID, weight=THIN))
        drawing.add(word((across.start - 5, up(tick) - 3.3), _signed(tick, ticks), size=SMALL, anchor="end"))
    for span in spans:
        if span.standing == "quarantined":
            x1, x2 = _ends(across, span)
            drawing.add(slanting((x1, up.start), (x2 - x1, up.end - up.start), gap=9, colour=GRID))
    drawing.add(line((across.start, up(0)), (across.end, up(0)), weight=LINE))
    for y in (low, high):
        drawing.add(line((across.start, y), (across.end, y), colour=QUIET, weight=1.2, dash=(6, 3)))
    drawing.add(word((8, drawing.height - 14), f"Error of the probe, {scale.sign}", size=SMALL, colour=QUIET))
    digits = digits_of([scale.difference(tolerance)])
    said = f"Tolerance ±{number(scale.difference(tolerance), digits)} {scale.sign} (dashed)"
    drawing.add(word((across.end, drawing.height - 14), said, size=SMALL, anchor="end", colour=QUIET))


def _ends(across: Scale, span: Band) -> tuple[float, float]:
    return (
        across.start if span.start is None else across.clip(span.start.timestamp()),
        across.end if span.end is None else across.clip(span.end.timestamp()),
    )


def _time_axis(drawing, across: Scale, ticks, foot: float) -> None:
    base = foot + _AXIS
    for at, label in ticks:
        x = across(at.timestamp())
        drawing.add(line((x, base), (x, base - 4), colour=QUIET))
        half = width_of(label, SMALL) / 2
        middle = min(max(x, across.start - 8 + half), across.end - half)
        drawing.add(word((middle, base - 14), label, size=SMALL, anchor="middle"))


def _strip(drawing, across: Scale, spans: Sequence[Band], base: float) -> None:
    for span in spans:
        x1, x2 = _ends(across, span)
        if x2 - x1 < 0.4:
            continue
        drawing.add(span_box(x1, base, x2 - x1, _STRIP, span.standing))
        text = STANDINGS[span.standing].word
        room = width_of(text, SMALL, strong=True) + 8
        if room + 4 <= x2 - x1:
            middle = (x1 + x2) / 2
            drawing.add(box((middle - room / 2, base + 3), (room, _STRIP - 6), fill=PAPER, edge=None))
            drawing.add(word((middle, base + 5.6), text, size=SMALL, anchor="middle", strong=True))


def _flags(drawing, across: Scale, up: Scale, events: Sequence[Flag]) -> None:
    places = [across(event.at.timestamp()) for event in events]
    tags = spread(places, 15.0, across.start + 7, across.end - 7)
    for position, (x, tag) in enumerate(zip(places, tags, strict=True), start=1):
        drawing.add(line((x, up.start), (x, up.end), colour=INK, weight=0.8, dash=(1.5, 2.5)))
        drawing.add(line((x, up.end), (tag, up.end + 5), colour=INK, weight=0.8))
        drawing.add(flag_mark(tag, up.end + 9, str(position)))


def spread(places: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Places in rising order moved apart to at least `gap`, or to what fits between `low` and `high`."""
    gap = min(gap, (high - low) / max(1, len(places) - 1))
    moved: list[float] = []
    for place_at in places:
        moved.append(max(place_at, low, moved[-1] + gap if moved else low))
    limit = high
    for index in range(len(moved) - 1, -1, -1):
        moved[index] = min(moved[index], limit)
        limit = moved[index] - gap
    return moved


def _check(drawing, across: Scale, up: Scale, check: Dot, scale: AxisUnit) -> None:
    x = across(check.at.timestamp())
    if check.error is None:
        drawing.add(dot_mark(x, up.start + 8, check.verdict, check.stage, check.void))
        return
    error, spread = scale.difference(check.error), scale.difference(check.expanded or 0)
    beyond = abs(error) > up.high
    y = up.clip(error) if not beyond else up.end - 9 if error > 0 else up.start + 9
    colour = QUIET if check.void else INK
    if spread and not beyond:
        low, high = up.clip(error - spread), up.clip(error + spread)
        drawing.add(line((x, low), (x, high), colour=colour, weight=LINE))
        for end in (low, high):
            drawing.add(line((x - 3, end), (x + 3, end), colour=colour, weight=LINE))
    drawing.add(dot_mark(x, y, check.verdict, check.stage, check.void))
    if beyond:
        _off_the_scale(drawing, x, y, error, to_left=x > (across.start + across.end) / 2)


def _off_the_scale(drawing, x: float, y: float, error: float, *, to_left: bool) -> None:
    """Say the figure of an error that the axis does not reach."""
    text = f"+{number(error, 1)} ↑" if error > 0 else f"{number(error, 1)} ↓"
    room = width_of(text, SMALL, strong=True) + 4
    left = x - 8 - room if to_left else x + 8
    drawing.add(box((left, y - 6), (room, 12), fill=PAPER, edge=None))
    drawing.add(word((left + 2, y - 3.3), text, size=SMALL, strong=True))


def _key(spans, checks, events, zone: tzinfo, *, brief: bool) -> list[LegendEntry]:
    """What the marks in this picture mean; only those that occur in it."""
    entries = [
        LegendEntry(
            style.word if brief else f"{style.word}: {style.meaning}",
            22,
            lambda x, y, name=name: span_box(x, y - 2, 22, 11, name),
        )
        for name, style in STANDINGS.items()
        if any(s.standing == name for s in spans)
    ]
    entries += [
        LegendEntry(text, 12, lambda x, y, name=name: dot_mark(x + 6, y + 3.4, name, "as_found", False))
        for name, text in VERDICTS.items()
        if any(c.verdict == name and not c.void for c in checks)
    ]
    if any(c.stage == "as_left" for c in checks):
        entries.append(
            LegendEntry(
                "square: checked after adjustment",
                14,
                lambda x, y: box((x + 0.5, y - 3), (13, 13), edge=INK, weight=1.0),
            )
        )
    if any(c.void for c in checks):
        entries.append(LegendEntry("void", 12, lambda x, y: dot_mark(x + 6, y + 3.4, "in_tolerance", "as_found", True)))
    if any(c.expanded for c in checks):
        entries.append(LegendEntry("bar: uncertainty", 8, lambda x, y: line((x + 4, y - 3), (x + 4, y + 10))))
    return entries + [
        LegendEntry(f"{event.label}, {_day(event.at, zone)}", 14, lambda x, y, n=str(n): flag_mark(x + 7, y + 3.4, n))
        for n, event in enumerate(events, start=1)
    ]


def _day(at: datetime, zone: tzinfo) -> str:
    return short_day(at.astimezone(zone))
