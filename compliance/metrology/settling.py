"""Has the probe settled, and how much may still be to come: from timed readings with a display resolution.

Real sheaths are not first order: a fast part is followed by a slower one. So no curve is fitted and extrapolated. A probe
is called settled when its display has stood still for long enough, and what may still come is bounded, not estimated.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import ceil, exp, expm1, isfinite, log

DEFAULT_TIME_CONSTANT = 5.0  # s; thin food probes in wet packed ice, judgement
SLOWEST_TIME_CONSTANT = 60.0  # s; a sheath slower than this is no food probe, judgement
SHORTEST_WINDOW = 10.0  # s without change before "settled" is said, judgement
ALONE_AFTER = 60.0  # s after which a single reading is accepted, judgement
ROOM_ABOVE_BATH = 25.0  # °C; how far a probe may start above its bath, judgement
LONGEST_SERIES = 200
DUST = 1e-6  # share of a digit that binary arithmetic may add


@dataclass(frozen=True, slots=True, kw_only=True)
class TimedReading:
    """What the display showed (°C), and when (s since the probe went in)."""

    elapsed: float
    value: float


class SettlingState(StrEnum):
    """What a series of timed readings shows."""

    TOO_FEW = "too_few"
    FALLING = "falling"
    RISING = "rising"
    SETTLED = "settled"
    DRIFTING = "drifting"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settling:
    """Whether a probe has settled.

    `value` (°C) is the mean of the `count` readings since `settled_since` (s); `residual` (°C) bounds what may still be to
    come, as a half-width; `seconds_to_go` is a cautious estimate; `sentence` says it in plain words. Values that a state
    does not have are None.
    """

    state: SettlingState
    settled_since: float | None
    value: float | None
    count: int
    residual: float
    seconds_to_go: float | None
    sentence: str


def judge_settling(readings: Sequence[TimedReading], resolution: float, time_constant: float | None = None) -> Settling:
    """What 0 to 200 timed readings, in any order, show.

    Args:
        readings: elapsed times in s, 0 to 7200, and displayed values in °C, -100 to 400.
        resolution: the step of the display in °C, 0.001 to 5.
        time_constant: of the probe in ice, in s, 0.1 to 60, if it is known; else it is taken from the fall.

    Raises:
        ValueError: for values out of these ranges.

    Source: a display that moved by less than m during a window W has less than m/(exp(W/τ) - 1) still to come, from the
    first-order step response; the window of 2 τ and at least 10 s is judgement.
    """
    _check(readings, resolution, time_constant)
    series = sorted(readings, key=lambda reading: reading.elapsed)
    if len(series) < 2:
        return _alone(series, resolution, time_constant)
    start = _still_since(series, len(series) - 1, resolution)
    tau = time_constant or _time_constant(series, start, resolution)
    if _long_enough(series, start, len(series) - 1, tau):
        return _settled(series[start:], resolution, tau)
    if _settled_before(series, start, resolution, tau):
        return _drifting(series, start)
    return _moving(series, start, resolution, tau)


def _check(readings: Sequence[TimedReading], resolution: float, time_constant: float | None) -> None:
    if len(readings) > LONGEST_SERIES:
        raise ValueError(f"A check takes up to {LONGEST_SERIES} readings; this one has {len(readings)}.")
    if not 0.001 <= resolution <= 5:
        raise ValueError("Give the step of the display, from 0.001 to 5 °C.")
    if time_constant is not None and not 0.1 <= time_constant <= SLOWEST_TIME_CONSTANT:
        raise ValueError("Give the time constant in seconds, from 0.1 to 60, or none.")
    for reading in readings:
        if not (isfinite(reading.elapsed) and 0 <= reading.elapsed <= 7200):
            raise ValueError("Give the time of each reading in seconds since the probe went in, from 0 to 7200.")
        if not (isfinite(reading.value) and -100 <= reading.value <= 400):
            raise ValueError("A reading must lie between -100 and 400 °C. Was the decimal point left out?")


def _alone(series: list[TimedReading], resolution: float, time_constant: float | None) -> Settling:
    """One reading after a stated wait is accepted, with the wide bound that so little evidence deserves."""
    if not series or series[0].elapsed < ALONE_AFTER:
        wait = SHORTEST_WINDOW
        return _unsettled(SettlingState.TOO_FEW, wait, "Type what the display shows, then again every few seconds.")
    only = series[0]
    slow = 3 * (time_constant or DEFAULT_TIME_CONSTANT)
    residual = resolution + ROOM_ABOVE_BATH * exp(-only.elapsed / slow)
    return Settling(
        state=SettlingState.SETTLED,
        settled_since=only.elapsed,
        value=only.value,
        count=1,
        residual=residual,
        seconds_to_go=0.0,
        sentence="One reading after a long wait. It counts, but two more would make the check surer.",
    )


def _still_since(series: list[TimedReading], last: int, resolution: float) -> int:
    """Index of the first reading of the run up to `last` in which the display showed at most two neighbouring digits."""
    low = high = series[last].value
    start = last
    while start > 0:
        low, high = min(low, series[start - 1].value), max(high, series[start - 1].value)
        if high - low > resolution * (1 + DUST):
            break
        start -= 1
    return start


def _time_constant(series: list[TimedReading], start: int, resolution: float) -> float:
    """The slowest rate seen in the fall before `start`, s: cautious, since the slow part of a sheath comes last."""
    end = sum(reading.value for reading in series[start:]) / len(series[start:])
    gaps = [(r.elapsed, abs(r.value - end)) for r in series[: start + 1] if abs(r.value - end) >= resolution]
    seen = [
        (later - earlier) / log(before / after)
        for (earlier, before), (later, after) in zip(gaps, gaps[1:], strict=False)
        if before > after and later > earlier
    ]
    return min(max(seen, default=DEFAULT_TIME_CONSTANT), SLOWEST_TIME_CONSTANT)


def _long_enough(series: list[TimedReading], start: int, last: int, tau: float) -> bool:
    """Still for 2 τ and at least 10 s, on three readings; on two, for twice as long."""
    window = series[last].elapsed - series[start].elapsed
    needed = max(2 * tau, SHORTEST_WINDOW)
    return window >= (needed if last - start >= 2 else 2 * needed) - DUST and not _creeping(series, start, last)


def _creeping(series: list[TimedReading], start: int, last: int) -> bool:
    """One step of the display inside the run, in the direction of the fall before it, and too recent to be the last."""
    if start == 0:
        return False
    fall = series[start].value - series[start - 1].value
    values = [reading.value for reading in series[start : last + 1]]
    step = values[-1] - values[0]
    if step * fall <= 0:
        return False
    since = next(i for i in range(len(values)) if values[i] == values[-1]) + start
    return series[last].elapsed - series[since].elapsed < SHORTEST_WINDOW - DUST


def _settled(still: list[TimedReading], resolution: float, tau: float) -> Settling:
    values = [reading.value for reading in still]
    window = still[-1].elapsed - still[0].elapsed
    moved = max(values) - min(values) + resolution
    residual = moved / expm1(min(window / tau, 50.0))
    return Settling(
        state=SettlingState.SETTLED,
        settled_since=still[0].elapsed,
        value=sum(values) / len(values),
        count=len(values),
        residual=residual,
        seconds_to_go=0.0,
        sentence="Settled.",
    )


def _settled_before(series: list[TimedReading], start: int, resolution: float, tau: float) -> bool:
    """Whether it had stood still for long before the present run and then turned away from where it was going."""
    for last in range(start - 1, 0, -1):
        first = _still_since(series, last, resolution)
        if not _long_enough(series, first, last, tau):
            continue
        came = series[first].value - series[0].value
        went = series[-1].value - series[last].value
        return came * went <= 0 and abs(went) > resolution * (1 + DUST)
    return False


def _drifting(series: list[TimedReading], start: int) -> Settling:
    rising = series[-1].value > series[start - 1].value
    sentence = "It had settled and is rising again. Drain the water, pack fresh ice against the stem and start again."
    if not rising:
        sentence = "It had settled and is falling again. Pack the ice against the stem and start again."
    return _unsettled(SettlingState.DRIFTING, None, sentence)


def _moving(series: list[TimedReading], start: int, resolution: float, tau: float) -> Settling:
    window = max(2 * tau, SHORTEST_WINDOW)
    if start == 0:
        left = _whole(window - (series[-1].elapsed - series[0].elapsed))
        return _unsettled(SettlingState.TOO_FEW, left, f"Steady so far, about {left:.0f} s to go.")
    before, last = series[start - 1], series[-1]
    span = max(series[start].elapsed - before.elapsed, 1.0)
    to_come = abs(series[start].value - before.value) / span * tau * exp(-(last.elapsed - series[start].elapsed) / tau)
    still = last.elapsed - series[start].elapsed
    waiting = tau * log(max(2 * to_come / resolution, 1.0)) + window - still
    left = _whole(waiting)
    falling = series[start].value < before.value
    state = SettlingState.FALLING if falling else SettlingState.RISING
    return _unsettled(state, left, f"Still {'falling' if falling else 'rising'}, about {left:.0f} s to go.")


def _whole(seconds: float) -> float:
    """Rounded up to 5 s, at least 5."""
    return float(max(5, 5 * ceil(seconds / 5 - DUST)))


def _unsettled(state: SettlingState, left: float | None, sentence: str) -> Settling:
    return Settling(
        state=state, settled_since=None, value=None, count=0, residual=0.0, seconds_to_go=left, sentence=sentence
    )
