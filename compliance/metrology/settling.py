"""Has the probe settled, and how much may still be to come: from timed readings with a display resolution.

Real sheaths are not first order: a fast part is followed by a slower one. So no curve is fitted and extrapolated. A
probe is called settled when its display has stood still for long enough, and what may still come is bounded: by how
little it moved while it stood still, and by the slowest tail that a food probe may plausibly have.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import pairwise
from math import ceil, copysign, exp, expm1, inf, log, log1p
from statistics import fmean

from .mistyped import Suspect, find_mistyped
from .timed import LONGEST_SERIES, TimedValue, check_readings, in_order

__all__ = [
    "LONGEST_SERIES",
    "ROOM_ABOVE_BATH",
    "Settling",
    "SettlingState",
    "TimedValue",
    "has_moved",
    "judge_settling",
]

SLOWEST_TIME_CONSTANT = 60.0  # s; a sheath slower than this is no food probe, judgement
UNSEEN_TIME_CONSTANT = 10.0  # s; where neither the probe's own is known nor a fall was seen, judgement
CAUTION = 2.0  # times the time constant where it bounds what is to come; judgement
SHORTEST_WINDOW = 10.0  # s without change before "settled" is said, judgement
ALONE_AFTER = 90.0  # s after which a short series, even a single reading, is accepted, judgement
ROOM_ABOVE_BATH = 25.0  # °C; how far a probe may start above its bath, judgement
SLOW_TAIL = 20.0  # s; time constant of the slowest tail of a food probe whose fall was not seen, judgement
TAIL_SHARE = 0.25  # of the whole step, that such a tail may have, judgement
HIDDEN_SHARE = 0.08  # of the whole step, that a slow tail may have without being seen in a fall, judgement
EARLIEST = 60.0  # s in the ice before which "settled" is said only of a display that stood still for long, judgement
LONG_STILL = 20.0  # s without change that are long, judgement
MEAN_LAG = 0.4  # of what the mean of a flicker may lag behind its last reading in such a tail, judgement
TAIL_IN_DIGITS = 20  # digits of a fall, and of a tail in it, that show how slow it is; judgement
FALL_SEEN = 2  # readings before the still run from which its pace can be told, judgement
LATE_START = 3.0  # °C; a move larger than this from the first plateau is the probe going in, judgement
JUMP = 2.5  # digits up and down that are no flicker, judgement
JUMPED_LATELY = 8  # readings among which jumps count, judgement
WARMING_PACE = 0.05  # °C/s; a bath warms up no faster, a probe pulled out does, judgement
SLACK = 0.05  # share of a digit by which steps differ where readings were converted and rounded
DUST = 1e-6  # s that binary arithmetic may add


class SettlingState(StrEnum):
    """What a series of timed readings shows.

    After it had settled: `DRIFTING` away, or slowly `WARMING` with its bath. `DOUBTFUL`: it would drift or jump, were it
    not for a reading that was probably mistyped.
    """

    TOO_FEW = "too_few"
    FALLING = "falling"
    RISING = "rising"
    SETTLED = "settled"
    DRIFTING = "drifting"
    WARMING = "warming"
    JUMPING = "jumping"
    DOUBTFUL = "doubtful"

    @property
    def is_fault(self) -> bool:
        """Whether waiting does not help: something has to be put right first."""
        return self in (SettlingState.DRIFTING, SettlingState.WARMING, SettlingState.JUMPING, SettlingState.DOUBTFUL)


@dataclass(frozen=True, slots=True, kw_only=True)
class Settling:
    """Whether a probe has settled.

    `value` (°C) is the mean of the `count` readings since `settled_since` (s); `residual` (°C) bounds what may still be
    to come, as a half-width, and is all of `ROOM_ABOVE_BATH` while nothing has settled; `seconds_to_go` is a cautious
    estimate; `sentence` says it in plain words. Values that a state does not have are None. `suspects` are readings that
    were probably mistyped; they count as they were typed.
    """

    state: SettlingState
    settled_since: float | None
    value: float | None
    count: int
    residual: float
    seconds_to_go: float | None
    sentence: str
    suspects: tuple[Suspect, ...] = ()


def judge_settling(readings: Sequence[TimedValue], resolution: float, time_constant: float | None = None) -> Settling:
    """What 0 to 200 timed readings, in any order, show.

    Settled means that the display showed one digit, or flickered between two, for 2 τ and at least 10 s. A single step
    onwards in the direction of the fall is no flicker: unless the probe had settled before it, the time runs again.

    Args:
        readings: elapsed times in s, 0 to 7200, and displayed values in °C, -100 to 400.
        resolution: the step of the display in °C, 0.001 to 5.
        time_constant: of the probe in ice, in s, 0.1 to 60, if it is known. A fall that was seen to be slower counts more.

    Returns:
        The state, and for a settled probe its value and the bound of what may still be to come, °C.

    Raises:
        ValueError: for values out of these ranges.

    Source: a display that moved by less than m during a window W has less than m/(exp(W/τ) - 1) still to come, from the
    first-order step response; the window of 2 τ and at least 10 s is judgement.
    """
    check_readings(readings, resolution)
    if time_constant is not None and not 0.1 <= time_constant <= SLOWEST_TIME_CONSTANT:
        raise ValueError("Give the time constant in seconds, from 0.1 to 60, or none.")
    series = in_order(readings)
    found, suspects = _judge(series, resolution, time_constant), find_mistyped(series, resolution)
    if suspects and found.state.is_fault:
        found = _unsettled(SettlingState.DOUBTFUL, None, suspects[-1].sentence)
    return replace(found, suspects=suspects)


def has_moved(readings: Sequence[TimedValue], resolution: float) -> bool:
    """Whether what was typed shows the display move by more than a flicker before it came to its last value.

    Args:
        readings: in any order, s and °C.
        resolution: the step of the display in °C.

    Source: judgement: two digits. A held display shows one; a flicker is no fall.
    """
    last = in_order(readings)[-1].value if readings else 0.0
    return any(abs(reading.value - last) >= 2 * resolution * (1 - SLACK) for reading in readings)


def _judge(series: list[TimedValue], resolution: float, known: float | None) -> Settling:
    if not series:
        return _too_few()
    start = _still_since(series, len(series) - 1, resolution)
    tau = _time_constant(series, start, resolution, known)
    since = _settled_now(series, start, resolution, tau, known)
    if since is not None:
        found = _settled(series, start, since, resolution, tau)
        return _warming() if _has_risen(series, found, resolution, known) else found
    if start == 0 and series[0].elapsed >= ALONE_AFTER:
        return _after_a_wait(series, resolution, tau)
    if len(series) == 1:
        return _too_few()
    if _jumping(series, resolution):
        return _unsettled(SettlingState.JUMPING, None, JUMPS)
    if _turned_away(series, start, resolution, known):
        return _drifting(series, start)
    return _moving(series, start, resolution, tau, known)


def _settled_now(
    series: list[TimedValue], start: int, resolution: float, tau: float, known: float | None
) -> int | None:
    """Index of the first reading that speaks for the settled value; None if it has not settled."""
    since = _settled_since(series, len(series) - 1, resolution, tau)
    if since is None or _creeping(series, resolution, tau):
        return None
    share = _share(series, start, resolution, known)
    early = _soon(series, start) > DUST or _tail(series, start, resolution, tau, share) > resolution / 2
    return None if early else since


def _share(series: list[TimedValue], start: int, resolution: float, known: float | None) -> float:
    """Of the whole step, that a slow tail may have: less where it would have been seen in the fall."""
    return TAIL_SHARE if _tail_unseen(series, start, resolution, known) else HIDDEN_SHARE


def _too_few() -> Settling:
    sentence = "Type what the display shows, then again every few seconds."
    return _unsettled(SettlingState.TOO_FEW, None, sentence)


def _after_a_wait(series: list[TimedValue], resolution: float, tau: float) -> Settling:
    """Steady since a first reading that came late: accepted, with the wide bound that little evidence deserves."""
    values = [reading.value for reading in series]
    few = "One reading after a long wait." if len(values) == 1 else "Steady after a long wait."
    return Settling(
        state=SettlingState.SETTLED,
        settled_since=series[0].elapsed,
        value=fmean(values),
        count=len(values),
        residual=_tail(series, 0, resolution, tau),
        seconds_to_go=0.0,
        sentence=f"{few} It counts, but two more readings would make the check surer.",
    )


def _tail_unseen(series: list[TimedValue], start: int, resolution: float, known: float | None) -> bool:
    """Whether a slow tail may have gone unseen: little seen of the fall, or digits too coarse to show it."""
    if known is not None:
        return False
    coarse = TAIL_IN_DIGITS * resolution > ROOM_ABOVE_BATH * TAIL_SHARE
    return coarse or start < FALL_SEEN or abs(series[0].value - series[-1].value) < TAIL_IN_DIGITS * resolution


def _tail(series: list[TimedValue], start: int, resolution: float, tau: float, share: float = TAIL_SHARE) -> float:
    """What the slowest plausible tail may have left, °C: by the time that went by, and by how still the display stood."""
    slow = max(SLOW_TAIL, CAUTION * tau)
    by_time = ROOM_ABOVE_BATH * share * exp(-(series[-1].elapsed - _went_in(series)) / slow)
    return min(by_time, _bound(series[start:], resolution, slow))


def _went_in(series: list[TimedValue]) -> float:
    """s; later than the clock began if the display stood far off at first."""
    gaps = [abs(reading.value - series[-1].value) for reading in series]
    at_first = next((i for i, gap in enumerate(gaps) if gap < 0.9 * gaps[0]), 1)
    return series[at_first - 1].elapsed if at_first > 1 and gaps[0] > LATE_START else 0.0


def _still_since(series: list[TimedValue], last: int, resolution: float) -> int:
    """Index of the first reading of the run up to `last` in which the display showed two neighbouring digits or one."""
    low = high = series[last].value
    start = last
    while start > 0:
        low, high = min(low, series[start - 1].value), max(high, series[start - 1].value)
        if high - low > resolution * (1 + SLACK):
            break
        start -= 1
    return start


def _time_constant(series: list[TimedValue], start: int, resolution: float, known: float | None) -> float:
    """The slowest halving seen in the later part of the fall up to the still run, or the known one if that is slower, s.

    Cautious: the slow part of a sheath comes last, and the end may lie half a digit beyond what the display shows now. The
    first half of the fall is left out: a sheath is slow to begin, and the probe may have gone in late.
    """
    onwards = copysign(1.0, series[-1].value - series[0].value)
    end = series[-1].value + onwards * resolution / 2
    gaps: list[tuple[float, float]] = []
    for reading in series[: start + 1]:
        gap = onwards * (end - reading.value)
        if gap > resolution / 4 and (not gaps or gap < gaps[-1][1]):
            gaps.append((reading.elapsed, gap))
    late = [point for point in gaps if point[1] <= gaps[0][1] / 2] or gaps
    seen = [_halving(point, late) for point in late]
    return min(max(filter(None, (*seen, known)), default=UNSEEN_TIME_CONSTANT), SLOWEST_TIME_CONSTANT)


def _halving(point: tuple[float, float], gaps: list[tuple[float, float]]) -> float | None:
    """The time constant with which the gap halved, or more, from this point; None if it did not."""
    since, gap = point
    halved = next(((at, less) for at, less in gaps if less <= gap / 2 and at > since), None)
    return None if halved is None else (halved[0] - since) / log(gap / halved[1])


def _settled_since(series: list[TimedValue], last: int, resolution: float, tau: float) -> int | None:
    """Index of the first reading that speaks for the settled value at `last`; None if it had not settled by then.

    After a step onwards only the digit reached speaks: the one before would pull towards where the probe came from.
    """
    start = _still_since(series, last, resolution)
    step = _step_onwards(series, start, last)
    if step is None:
        return start if _long_enough(series, start, last, tau) else None
    enough = _long_enough(series, step, last, tau) or _long_enough(series, start, step - 1, tau)
    return step if enough else None


def _had_settled(series: list[TimedValue], resolution: float, known: float | None) -> int | None:
    """The same at the end of these readings, by the time constant that they show."""
    last = len(series) - 1
    # Not even if it were the quickest: so it is with most readings of a fall.
    if _settled_since(series, last, resolution, 0.0) is None:
        return None
    tau = _time_constant(series, _still_since(series, last, resolution), resolution, known)
    return _settled_since(series, last, resolution, tau)


def _step_onwards(series: list[TimedValue], start: int, last: int) -> int | None:
    """Index of the only change of digit in a still run, if it may be the fall going on."""
    steps = [i for i in range(start + 1, last + 1) if series[i].value != series[i - 1].value]
    if len(steps) != 1:
        return None
    step = series[last].value - series[start].value
    fall = series[start].value - series[start - 1].value if start else step
    return steps[0] if step * fall > 0 else None


def _long_enough(series: list[TimedValue], start: int, last: int, tau: float) -> bool:
    """Still for 2 τ and at least 10 s, on three readings; on two, for twice as long."""
    window = series[last].elapsed - series[start].elapsed
    return window >= _window(tau) * (1 if last - start >= 2 else 2) - DUST


def _window(tau: float) -> float:
    return max(2 * tau, SHORTEST_WINDOW)


def _creeping(series: list[TimedValue], resolution: float, tau: float) -> bool:
    """Whether it moved on at a steady pace over three windows: what settles moves several times less in each."""
    end, window = series[-1].elapsed, _window(tau)
    if series[0].elapsed > end - 3 * window:
        return False
    now, earlier, earliest = (_shown_at(series, end - n * window) for n in (0, 2, 3))
    lately, before = now - earlier, earlier - earliest
    steady = lately * before > 0 and abs(before) <= 1.5 * abs(lately)
    return steady and abs(now - earliest) >= 2 * resolution * (1 - SLACK)


def _shown_at(series: list[TimedValue], elapsed: float) -> float:
    return next(reading.value for reading in reversed(series) if reading.elapsed <= elapsed + DUST)


def _settled(series: list[TimedValue], start: int, since: int, resolution: float, tau: float) -> Settling:
    """The whole run of neighbouring digits bounds what is to come, or the part of it that speaks for the value."""
    still, slow = series[since:], CAUTION * tau
    bounds = (_bound(series[start:], resolution, slow), _bound(still, resolution, slow))
    hidden = _lag(still, max(SLOW_TAIL, slow)) * _tail(series, start, resolution, tau, HIDDEN_SHARE)
    return Settling(
        state=SettlingState.SETTLED,
        settled_since=still[0].elapsed,
        value=fmean(reading.value for reading in still),
        count=len(still),
        residual=max(min(*bounds, _tail(series, start, resolution, tau)), hidden),
        seconds_to_go=0.0,
        sentence="Settled.",
    )


def _lag(still: list[TimedValue], slow: float) -> float:
    """How many times what a tail has left at the last reading the mean of them all may be short of its end.

    Equal digits need no such allowance: the last of them holds for all. Of a flicker a part of it is allowed: tails as large
    and as slow as all that are rare.
    """
    if len({reading.value for reading in still}) == 1:
        return 1.0
    mean = fmean(exp((still[-1].elapsed - reading.elapsed) / slow) for reading in still)
    return 1 + MEAN_LAG * (mean - 1)


def _bound(run: list[TimedValue], resolution: float, tau: float) -> float:
    """°C; the display may have moved by a digit more than it shows."""
    values = [reading.value for reading in run]
    return _still_to_come(max(values) - min(values) + resolution, run[-1].elapsed - run[0].elapsed, tau)


def _still_to_come(moved: float, window: float, tau: float) -> float:
    """What a first-order step has left after it moved this much in this window (s); past 50 τ nothing is left."""
    return moved / expm1(min(window / tau, 50.0)) if window > 0 else inf


def _turned_away(series: list[TimedValue], start: int, resolution: float, known: float | None) -> bool:
    """Whether it had settled before the present run and then left that value, other than by going on as before."""
    for last in range(start - 1, 0, -1):
        first = _had_settled(series[: last + 1], resolution, known)
        if first is None:
            continue
        came = series[first].value - series[0].value
        went = series[-1].value - series[last].value
        went_in_late = abs(came) <= resolution * (1 + SLACK) and abs(went) > LATE_START
        return came * went <= 0 and abs(went) > resolution * (1 + SLACK) and not went_in_late
    return False


def _has_risen(series: list[TimedValue], found: Settling, resolution: float, known: float | None) -> bool:
    """Whether it stands two digits above the value at which it had settled before, having come down to it."""
    value, rise = found.value or 0.0, 2 * resolution * (1 - SLACK)
    if series[0].value < value or value - min(reading.value for reading in series) < rise:
        return False
    for last in range(2, len(series)):
        before = series[: last + 1]
        first = _had_settled(before, resolution, known)
        if first is not None and value - fmean(reading.value for reading in before[first:]) >= rise:
            return True
    return False


def _jumping(series: list[TimedValue], resolution: float) -> bool:
    """Whether it went up and down again, twice, by more than a flicker."""
    steps = [after.value - before.value for before, after in pairwise(series[-JUMPED_LATELY:])]
    turns = [min(abs(one), abs(two)) for one, two in pairwise(steps) if one * two < 0]
    return sum(turn >= JUMP * resolution for turn in turns) >= 2


JUMPS = (
    "The display jumps up and down. Hold the probe still, clear of sides and bottom, and look at its plug and battery. "
    "Then start again."
)


def _drifting(series: list[TimedValue], start: int) -> Settling:
    before, now = series[start - 1], series[-1]
    if now.value < before.value:
        sentence = "It had settled and is falling again. Pack the ice against the stem and start again."
        return _unsettled(SettlingState.DRIFTING, None, sentence)
    if now.value - before.value <= WARMING_PACE * (now.elapsed - before.elapsed):
        return _warming()
    sentence = (
        "It had settled and is rising again, fast. Is the tip still deep in the ice? Put it right and start again."
    )
    return _unsettled(SettlingState.DRIFTING, None, sentence)


def _warming() -> Settling:
    sentence = "It had settled and is rising again: the bath warms up. Drain the water, pack fresh ice and start again."
    return _unsettled(SettlingState.WARMING, None, sentence)


def _moving(series: list[TimedValue], start: int, resolution: float, tau: float, known: float | None) -> Settling:
    left = _whole(_time_to_go(series, start, resolution, tau, known))
    if start == 0:
        return _unsettled(SettlingState.TOO_FEW, left, f"Steady so far, about {left:.0f} s to go.")
    falling = series[-1].value < series[start - 1].value
    state = SettlingState.FALLING if falling else SettlingState.RISING
    return _unsettled(state, left, f"Still {'falling' if falling else 'rising'}, about {left:.0f} s to go.")


def _time_to_go(series: list[TimedValue], start: int, resolution: float, tau: float, known: float | None) -> float:
    """s: until half a digit is left at the present pace, then a whole window, less what it has stood still already."""
    last = len(series) - 1
    since = _step_onwards(series, start, last) or start
    end = series[-1]
    earlier = next((r for r in reversed(series) if r.elapsed <= end.elapsed - tau), series[0])
    to_come = _still_to_come(abs(end.value - earlier.value), max(end.elapsed - earlier.elapsed, 1.0), tau)
    pace = tau * log(max(2 * to_come / resolution, 1.0))
    left = pace + _window(tau) - (end.elapsed - series[since].elapsed)
    return max(
        left,
        _soon(series, start),
        _tail_to_go(series, start, resolution, tau, _share(series, start, resolution, known)),
    )


def _soon(series: list[TimedValue], start: int) -> float:
    """s until it is not too soon."""
    now = series[-1].elapsed
    return min(EARLIEST - (now - _went_in(series)), LONG_STILL - (now - series[start].elapsed))


def _tail_to_go(series: list[TimedValue], start: int, resolution: float, tau: float, share: float) -> float:
    """s until the slowest plausible tail has half a digit left."""
    slow, run = max(SLOW_TAIL, CAUTION * tau), series[start:]
    moved = max(reading.value for reading in run) - min(reading.value for reading in run) + resolution
    by_stillness = slow * log1p(2 * moved / resolution) - (run[-1].elapsed - run[0].elapsed)
    by_time = slow * log(max(2 * ROOM_ABOVE_BATH * share / resolution, 1.0)) - (run[-1].elapsed - _went_in(series))
    return min(by_stillness, by_time)


def _whole(seconds: float) -> float:
    """Rounded up to 5 s, at least 5."""
    return float(max(5, 5 * ceil(seconds / 5 - DUST)))


def _unsettled(state: SettlingState, left: float | None, sentence: str) -> Settling:
    return Settling(
        state=state,
        settled_since=None,
        value=None,
        count=0,
        residual=ROOM_ABOVE_BATH,
        seconds_to_go=left,
        sentence=sentence,
    )
