"""Advice on how often to check a probe, and what a failure would then put in doubt. It advises; a person decides.

Source: ILAC-G24 / OIML D 10, Guidelines for the determination of recalibration intervals of measuring equipment, for the
methods (control chart, statistics); the numbers marked so are judgement.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import expm1, floor, isfinite, log10

from .drift import FEWEST_POINTS, Trend, days_within
from .reliability import Fleet, Rate, Trial, days_for, fleet_of, shrunk_rate

STEPS = (1, 2, 7, 14, 30, 60, 90)  # days that people can keep; judgement
LONGEST = 30  # days; common practice is monthly at least, no source
ENOUGH_POINTS = 5  # checks with a figure from which a trend may advise; judgement
ENOUGH_CHECKS = 20  # passed or failed, of the probe and its like, from which their rate may advise; judgement
YEAR = 365.0  # days


@dataclass(frozen=True, slots=True, kw_only=True)
class AtStake:
    """What checking every so many `days` means, at a probe's pace of readings.

    `readings`: in doubt after one failure. `yearly`: of them to be expected in a year, None where no rate is known.
    """

    days: int
    readings: float
    yearly: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """How often to check.

    `days` between checks, None for no advice yet; `low` to `high` days is how far the evidence leaves it open. `by_rate`
    and `by_trend` are the whole days that the failures and the drift allow, None where they say nothing. `reached` is the
    reliability (0 to 1) expected at that interval by whichever of the two says least. `adjust_first`: the drift leaves not
    even a day, so that no interval is short enough; `days` is then 1, until the probe is adjusted or replaced. `why` are
    sentences in plain words, the first the advice itself.
    """

    days: int | None
    low: int | None
    high: int | None
    target: float
    reached: float | None
    by_rate: int | None
    by_trend: int | None
    rate: Rate
    why: tuple[str, ...]
    adjust_first: bool = False

    def at_stake(self, readings_per_day: float, intervals: Sequence[int] = STEPS) -> tuple[AtStake, ...]:
        """Readings that a failure puts in doubt at each interval.

        Args:
            readings_per_day: of this probe, zero or more.
            intervals: days, each above zero.

        Raises:
            ValueError: for numbers out of range.

        Source: all readings since the last good check are in doubt, so a whole interval of them.
        """
        return at_stake(readings_per_day, intervals, self.rate.rate if self.by_rate is not None else None)


def advise(
    history: Trend | None,
    own: Sequence[Trial] = (),
    *,
    tolerance: float,
    target: float = 0.95,
    fleet: Fleet | Sequence[Sequence[Trial]] = (),
    longest: int = LONGEST,
    readings_per_day: float | None = None,
) -> Advice:
    """How often to check a probe so that it is found in tolerance as often as asked.

    The failures of the probe and its like allow an interval, and so does the drift of its error; the shorter counts,
    rounded down to a step that people can keep.

    Args:
        history: the trend of its error, days and °C; None if it has fewer than 3 checks with a figure.
        own: its checks that passed or failed, days.
        tolerance: °C, above zero.
        target: reliability at the end of an interval, 0.5 to 0.999.
        fleet: what other probes of its kind showed, or their checks, days, one sequence a probe.
        longest: days, 1 to 90, never exceeded.
        readings_per_day: how much the probe is used, zero or more; None if not known.

    Returns:
        The advice, or none yet and why. A probe that may well leave its tolerance within a day is to be adjusted first.

    Raises:
        ValueError: for numbers out of range.

    Source: ILAC-G24 / OIML D 10 for the methods; that the shorter counts, and what is enough evidence, is judgement.
    """
    _check(tolerance, target, longest, readings_per_day)
    others = fleet if isinstance(fleet, Fleet) else fleet_of(fleet)
    rate = shrunk_rate(own, others)
    checks = rate.checks + sum(others.checks)
    traced = history is not None and history.count >= ENOUGH_POINTS
    if not traced and checks < ENOUGH_CHECKS:
        return _no_advice(history, checks, target, rate)
    by_rate = _whole(days_for(rate.rate, target), longest) if checks else None
    by_trend = days_within(history, tolerance, target, longest) if history is not None and traced else None
    allowed = min(days for days in (by_rate, by_trend, longest) if days is not None)
    days = step_down(max(1, allowed))
    kept = [rate.reliability(days)] if checks else []
    if history is not None and by_trend is not None:
        kept.append(1 - history.probability_outside(history.last + days, tolerance))
    low, high = (_whole(days_for(end, target), longest) if checks else longest for end in (rate.high, rate.low))
    drift = longest if by_trend is None else by_trend
    return Advice(
        days=days,
        low=max(1, min(low, drift)),
        high=max(1, min(high, drift)),
        target=target,
        reached=min(kept),
        by_rate=by_rate,
        by_trend=by_trend,
        rate=rate,
        why=_why(days, target, by_rate, by_trend, longest, checks, readings_per_day),
        adjust_first=by_trend == 0,
    )


def _check(tolerance: float, target: float, longest: int, readings_per_day: float | None) -> None:
    if not 0.5 <= target <= 0.999:
        raise ValueError("Give a target from 0.5 to 0.999.")
    if not (tolerance > 0 and isfinite(tolerance)):
        raise ValueError("Give a tolerance above zero, in °C.")
    if readings_per_day is not None:
        at_stake(readings_per_day, ())
    if not 1 <= longest <= STEPS[-1]:
        raise ValueError(f"Give the longest interval in whole days, from 1 to {STEPS[-1]}.")


def at_stake(
    readings_per_day: float, intervals: Sequence[int] = STEPS, rate: float | None = None
) -> tuple[AtStake, ...]:
    """Readings that a failure puts in doubt at each interval.

    Args:
        readings_per_day: of the probe, zero or more.
        intervals: days, each above zero.
        rate: failures per day, zero or more; None if not known.

    Raises:
        ValueError: for numbers out of range.

    Source: all readings since the last good check are in doubt, so a whole interval of them; at a constant rate a check
    after t days fails with probability 1 - exp(-λt), and there are 365/t of them in a year.
    """
    if not (readings_per_day >= 0 and isfinite(readings_per_day)):
        raise ValueError("Give the readings per day as a number of zero or more.")
    if any(days <= 0 for days in intervals):
        raise ValueError("Give intervals above zero, in days.")
    if rate is not None and not rate >= 0:
        raise ValueError("Give a rate of zero or more, in failures per day, or none.")
    return tuple(
        AtStake(
            days=days,
            readings=readings_per_day * days,
            yearly=None if rate is None else readings_per_day * YEAR * -expm1(-rate * days),
        )
        for days in intervals
    )


def step_down(days: float) -> int:
    """The longest step of 1, 2, 7, 14, 30, 60 or 90 days that is not longer than `days` (1 or more).

    Raises:
        ValueError: for less than a day.

    Source: judgement.
    """
    if not days >= STEPS[0]:
        raise ValueError("Give at least one day.")
    return max(step for step in STEPS if step <= days)


def _whole(days: float, most: int) -> int:
    return min(most, floor(days + 1e-9)) if isfinite(days) else most


def _no_advice(history: Trend | None, checks: int, target: float, rate: Rate) -> Advice:
    figures = f"{history.count}" if history is not None else f"fewer than {FEWEST_POINTS}"
    why = (
        f"No advice yet, because there are too few checks: {figures} of this probe with a figure, and {checks} of it and "
        f"its like in all.",
        f"It takes {ENOUGH_POINTS} with a figure, or {ENOUGH_CHECKS} in all. Keep to the present interval until then.",
    )
    return Advice(
        days=None, low=None, high=None, target=target, reached=None, by_rate=None, by_trend=None, rate=rate, why=why
    )


def _why(
    days: int,
    target: float,
    by_rate: int | None,
    by_trend: int | None,
    longest: int,
    checks: int,
    readings_per_day: float | None,
) -> tuple[str, ...]:
    share = f"{100 * target:g} of 100 checks"
    told = [f"Check it {often(days)}."]
    hopeless = 0 in (by_rate, by_trend)
    if by_trend == 0:
        told = ["Adjust or replace it now; no interval is short enough.", f"Until then, check it {often(days)}."]
    elif hopeless:
        told.append(f"Even so it may not be in tolerance at {share}: adjust or replace it.")
    if by_rate is not None:
        told.append(f"Going by what {_count(checks)} of this probe and its like found, {_allows(by_rate, longest)}.")
    if by_trend is not None:
        told.append(f"Going by how its error moves, {_allows(by_trend, longest)}.")
    if not hopeless:
        told.append(f"That is meant to find it in tolerance at {share} or more.")
    if readings_per_day:
        told.append(in_doubt(readings_per_day, days))
    return tuple(told)


def often(days: int) -> str:
    """How often a check every so many days is, in words."""
    return {1: "every day", 2: "every 2 days", 7: "every week", 14: "every 2 weeks"}.get(days, f"every {days} days")


def in_doubt(readings_per_day: float, days: int) -> str:
    """What a failure costs in readings if checks are `days` apart, weekly and daily, in words.

    Args:
        readings_per_day: of the probe, zero or more.
        days: between checks, above zero.

    Raises:
        ValueError: for numbers out of range.

    Source: as `at_stake`.
    """
    chosen = sorted({days, 7, 1}, reverse=True)
    first, *rest = at_stake(readings_per_day, chosen)
    others = "".join(f"; {_checked(stake.days)}, {_about(stake.readings)}" for stake in rest)
    words = _checked(first.days)
    return f"{words[0].upper()}{words[1:]}, a failure puts {_about(first.readings)} readings in doubt{others}."


def _checked(days: int) -> str:
    return {1: "checked daily", 7: "checked weekly"}.get(days, f"checked every {days} days")


def _about(readings: float) -> str:
    """Two significant digits, below ten whole ones."""
    if readings < 1:
        return "fewer than 1"
    return f"about {round(readings, -max(0, floor(log10(readings)) - 1)):,.0f}"


def _count(checks: int) -> str:
    return "1 check" if checks == 1 else f"{checks} checks"


def _allows(days: int, longest: int) -> str:
    if days >= longest:
        return f"it could go {longest} days or longer"
    return f"it may go {days} {'day' if days == 1 else 'days'}" if days >= 1 else "it may not go a day"
