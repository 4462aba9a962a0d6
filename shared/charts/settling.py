"""A probe in ice or in boiling water: the reading on its way to the reference, and how much is still to come."""

from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.graphics.shapes import Drawing

from shared.charts.axes import Axes, AxisUnit, Scale, digits_of, elapsed_ticks, nice_ticks, number, unit_of
from shared.charts.marks import box, disc, line, path, sheet, slanting, width_of, word
from shared.charts.palette import BAND, BOLD_LINE, GRID, INK, MARK, PAPER, QUIET, SMALL, THIN

Point = tuple[float, float]
_TOP, _BOTTOM, _RIGHT = 26.0, 24.0, 12.0


@dataclass(frozen=True, slots=True)
class Display:
    """What is held against what, °C: the display's digit, the half-width of the band in tolerance (or None), and the temperature
    that the probe should show. `unit`: "C" or "F", for display only."""

    resolution: float
    tolerance: float | None = None
    reference: float = 0.0
    unit: str = "C"


def settling_picture(
    points: Sequence[Point],
    display: Display,
    settled_value: float | None = None,
    residual: float | None = None,
    size: tuple[float, float] = (340, 220),
) -> Drawing:
    """Draw timed readings of a probe on its way to its reference, such as the ice point.

    Args:
        points: seconds since insertion and the value read, °C; in any order, none to a few hundred.
        display: of the probe, with what it is held against.
        settled_value: where the probe has settled, °C, or None.
        residual: half-width of what may still come, °C, or None where nothing can be said yet.
        size: width and height in points.

    Raises:
        ValueError: for a resolution that is not above zero, a negative residual, or an unknown unit.
    """
    (width, height), resolution = size, display.resolution
    if resolution <= 0:
        raise ValueError("The resolution has to be above zero: it is the smallest step of the display.")
    if residual is not None and residual < 0:
        raise ValueError("What is still to come is given as a half-width, so it cannot be negative.")
    points, scale = sorted(points), unit_of(display.unit)
    drawing = sheet(width, height)
    end = _end(points)
    low, high = _window(points, display, settled_value, residual)
    ticks = nice_ticks(scale.value(low), scale.value(high), 5)
    left = 18 + max(width_of(number(t, digits_of(ticks)), SMALL) for t in ticks)
    across = Scale(0, end, left, width - _RIGHT)
    up = Scale(scale.value(low), scale.value(high), _BOTTOM, height - _TOP)
    axes = Axes(across, up, scale)
    _frame(drawing, axes, ticks, display)
    if points:
        _to_come(drawing, points[-1], axes, residual, settled_value)
        _readings(drawing, points, axes)
    _words(drawing, points, scale, resolution, settled_value, residual)
    return drawing


def _end(points: Sequence[Point]) -> float:
    """Leave a quarter of the time axis free for what is still to come; never less than a minute."""
    return max(60.0, (points[-1][0] if points else 0) * 1.3)


def _window(points, display: Display, settled, residual) -> tuple[float, float]:
    """The values shown, °C: the later part of the way, so that the last tenths near the reference can be seen."""
    reference = display.reference
    recent = [v for t, v in points if t >= points[-1][0] * 0.5] or [20.0]
    last, spare = (
        (points[-1][1] if points else reference),
        max(display.resolution * 5, 0.5, (display.tolerance or 0) * 1.2),
    )
    reach = min(residual or 0.0, 5.0)
    values = [reference, *recent, last + reach, last - reach, *([settled] if settled is not None else [])]
    low, high = min(values), max(values)
    return min(low - (high - low) * 0.06, reference - spare), max(high + (high - low) * 0.06, reference + spare)


def _frame(drawing: Drawing, axes: Axes, ticks: list[float], display: Display) -> None:
    across, up, scale = axes.across, axes.up, axes.scale
    tolerance, reference = display.tolerance, display.reference
    if tolerance:
        low, high = (up.clip(scale.value(reference + s * tolerance)) for s in (-1, 1))
        drawing.add(box((across.start, low), (across.end - across.start, high - low), fill=BAND, edge=None))
    digits = digits_of(ticks)
    for tick in ticks:
        drawing.add(line((across.start, up(tick)), (across.end, up(tick)), colour=GRID, weight=THIN))
        drawing.add(word((across.start - 10, up(tick) - 3.3), number(tick, digits), size=SMALL, anchor="end"))
    for at, label in elapsed_ticks(across.high, max(2, int((across.end - across.start) / 62))):
        drawing.add(line((across(at), up.start), (across(at), up.start - 4), colour=QUIET))
        anchor = "start" if at == 0 else "end" if across(at) > across.end - 14 else "middle"
        drawing.add(word((across(at), up.start - 15), label, size=SMALL, anchor=anchor))
    if tolerance:
        for sign in (-1, 1):
            y = up.clip(scale.value(reference + sign * tolerance))
            drawing.add(line((across.start, y), (across.end, y), colour=QUIET, dash=(5, 3)))
    drawing.add(line((across.start, up.start), (across.end, up.start), colour=QUIET))
    drawing.add(
        line((across.start, up(scale.value(reference))), (across.end, up(scale.value(reference))), weight=BOLD_LINE)
    )


def _to_come(drawing, last: Point, axes: Axes, residual, settled) -> None:
    across, up, scale = axes.across, axes.up, axes.scale
    x = across(last[0])
    if residual:
        middle = settled if settled is not None else last[1]
        low, high = up.clip(scale.value(middle - residual)), up.clip(scale.value(middle + residual))
        if high - low > 1:
            drawing.add(slanting((x, low), (across.end - x, high - low), gap=6))
        drawing.add(box((x, low), (across.end - x, high - low), edge=QUIET))
    if settled is not None:
        y = up.clip(scale.value(settled))
        drawing.add(line((x, y), (across.end, y), colour=MARK, weight=BOLD_LINE, dash=(6, 3)))


def _readings(drawing: Drawing, points: Sequence[Point], axes: Axes) -> None:
    across, up, scale = axes.across, axes.up, axes.scale
    places = [(across(t), up(scale.value(v))) for t, v in points]
    shown = _cut(_cut(places, up.end), up.start, -1)
    if len(shown) > 1:
        drawing.add(path(shown, colour=MARK, weight=BOLD_LINE))
    radius = 3.4 if len(points) <= 40 else 2.0
    for x, y in places[:-1]:
        if up.start <= y <= up.end:
            drawing.add(disc(x, y, radius, fill=PAPER, edge=MARK))
    drawing.add(disc(*places[-1], radius + 1.2, fill=MARK, edge=INK))


def _cut(places: list[Point], edge: float, side: int = 1) -> list[Point]:
    """The line from where it last comes in through an edge: the upper, or with `side` -1 the lower."""
    above = [i for i, (_, y) in enumerate(places) if side * y > side * edge]
    if not above:
        return places
    start = above[-1]
    if start + 1 == len(places):
        return []
    (x1, y1), (x2, y2) = places[start], places[start + 1]
    return [(x1 + (y1 - edge) / (y1 - y2) * (x2 - x1), edge), *places[start + 1 :]]


def _words(drawing, points, scale: AxisUnit, resolution, settled, residual) -> None:
    digits = next((d for d in range(4) if abs(round(resolution, d) - resolution) < 1e-9), 3)
    y = drawing.height - 14
    drawing.add(word((8, y), f"Reading, {scale.sign}", size=SMALL, colour=QUIET))
    if not points:
        said = "No reading yet"
    elif settled is not None:
        said = f"Settled at {number(scale.value(settled), digits + 1)} {scale.sign}"
    elif residual is not None:
        said = f"Still to come: up to {number(scale.difference(residual), digits)} {scale.sign}"
    else:
        said = f"Last {number(scale.value(points[-1][1]), digits)} {scale.sign}"
    drawing.add(word((drawing.width - _RIGHT, y), said, anchor="end", strong=True))
