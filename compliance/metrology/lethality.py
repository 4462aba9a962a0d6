"""Time at temperature: what a time that food was held is worth at another temperature.

The time that kills alike falls tenfold with each z degrees: t(T) = t_ref · 10^((T_ref − T)/z). No single z gives the rows
that authorities publish, so whoever judges food takes the z that is on the safe side for the question asked.

Sources: UK Food Standards Agency, table of equivalents of 70 °C for 2 minutes; Advisory Committee on the Microbiological
Safety of Food 2007 (z = 6 °C); USDA-FSIS Appendix A and Food Code 2022, 3-401.11. For pathogens without spores: not for
canning, not for toxins that heat leaves, and no leave to depart from a plan. Local codes and a competent person decide.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, expm1, floor, isfinite, log, log10

# °C. The range of temperatures that published equivalents span, 54.4 to 80 °C, and a little more: judgement.
COLDEST, HOTTEST = 54.0, 90.0

# °C. Below it, nothing is carried over from a hotter rule: the last row of the Food Standards Agency.
NOT_CARRIED_BELOW = 60.0

# s: a week. Longer holds are not cooking.
LONGEST_HOLD = 7 * 24 * 3600


# °C. The least and the greatest z that a trade of time against temperature must reckon with. Least: Food Code 2022,
# 3-401.11(B), 145 °F 240 s to 149 °F 85 s is 4.93. Greatest: the Food Standards Agency's 70 °C 120 s to 75 °C 30 s is
# 8.30. Rounded outward: judgement.
Z_LEAST, Z_GREATEST = 4.8, 10.0


@dataclass(frozen=True, slots=True)
class Demand:
    """What a hold demands of the true temperature, milli-°C: `kept` surely keeps the limit; below `missed` it is surely broken.

    `kept` is None where no temperature makes up for so short a hold.
    """

    kept: int | None
    missed: int


def equivalent_time(temperature: float, reference: float, time: float, z: float) -> float:
    """How long food must be held at a temperature to be treated as at another.

    Args:
        temperature: where the time is asked for, °C, 54 to 90.
        reference: where the time is known, °C, 54 to 90.
        time: the time there, s, above 0 and at most a week.
        z: the rise that shortens it tenfold, K, 3 to 15.

    Returns:
        A time, s.

    Raises:
        ValueError: outside those ranges.

    Source: the definition of z; t(T) = t_ref · 10^((T_ref − T)/z).
    """
    _check_temperatures(temperature, reference)
    _check_time(time)
    _check_z(z)
    return float(time * 10 ** ((reference - temperature) / z))


def lethality(trace: Sequence[tuple[float, float]], *, reference: float = 70.0, z: float) -> float:
    """How long at the reference temperature a record of temperatures is worth.

    Between two records the temperature is taken to run straight, and the exponential is integrated exactly. What is colder
    than 54 °C counts for nothing.

    Args:
        trace: (time in s, temperature in °C up to 90), at least two, the times rising.
        reference: the temperature that the result is stated at, °C, 54 to 90.
        z: the rise that shortens the time tenfold, K, 3 to 15.

    Returns:
        A time at the reference temperature, s.

    Raises:
        ValueError: outside those ranges, or if the times do not rise.

    Source: P = ∫ 10^((T − T_ref)/z) dt.
    """
    _check_temperatures(reference)
    _check_z(z)
    if len(trace) < 2:
        raise ValueError("A trace needs two temperatures at least.")
    if any(not isfinite(t) or not (isfinite(at) and t <= HOTTEST) for at, t in trace):
        raise ValueError(f"Temperatures above {HOTTEST:g} °C are beyond what equivalents are published for.")
    if any(after[0] <= before[0] for before, after in pairwise(trace)):
        raise ValueError("The times of a trace must rise: put its rows in order.")
    return sum(_ramp(before, after, reference, z) for before, after in pairwise(trace))


def _ramp(before: tuple[float, float], after: tuple[float, float], reference: float, z: float) -> float:
    (at, cold), (until, hot) = before, after
    if cold > hot:
        (cold, hot) = (hot, cold)
    time = until - at
    if hot < COLDEST:
        return 0.0
    if cold < COLDEST:
        time, cold = time * (hot - COLDEST) / (hot - cold), COLDEST
    rate, rise = 10 ** ((cold - reference) / z), log(10) * (hot - cold) / z
    return float(time * rate * (expm1(rise) / rise if rise > 1e-12 else 1.0))


def temperature_needed(limit: float, hold_required: float, hold_given: float, z: float) -> float:
    """The temperature at which a hold that was given is worth the one that a limit requires.

    Args:
        limit: the temperature of the limit, °C, 54 to 90.
        hold_required: the time that it must be held, s, above 0 and at most a week.
        hold_given: the time that it was held, s, above 0 and at most a week.
        z: the rise that shortens the time tenfold, K, 3 to 15.

    Returns:
        A temperature, °C; it may lie outside 54 to 90, where nothing is known: `demand` stops there.

    Raises:
        ValueError: outside those ranges.

    Source: as `equivalent_time`, solved for T.
    """
    _check_temperatures(limit)
    _check_time(hold_required)
    _check_time(hold_given)
    _check_z(z)
    return limit + z * log10(hold_required / hold_given)


def demand(limit_milli: int, hold_required: int, hold_given: int) -> Demand:
    """What a limit with a hold time demands of food that was held longer or shorter, on the safe side both ways.

    Held longer it may be colder, by the least z; not below 60 °C, nor below a limit that is colder itself. Held shorter it
    must be hotter, by the greatest z, up to 90 °C. Only what fails by the other z as well is surely broken.

    Args:
        limit_milli: the temperature of the limit, milli-°C, 54 000 to 90 000.
        hold_required: the time that it must be held, s, above 0 and at most a week.
        hold_given: the time that it was held, s, 0 to a week. Nothing makes up for 0 s.

    Returns:
        The temperatures that surely keep and surely break the limit.

    Raises:
        ValueError: outside those ranges.

    Source: as the module; every published row is met or made stricter.
    """
    limit = limit_milli / 1000
    if hold_given == 0:
        _check_temperatures(limit)
        _check_time(hold_required)
        return Demand(None, limit_milli)
    safe, lax = (Z_LEAST, Z_GREATEST) if hold_given > hold_required else (Z_GREATEST, Z_LEAST)
    strict, loose = (temperature_needed(limit, hold_required, hold_given, z) for z in (safe, lax))
    kept = max(ceil(strict * 1000 - 1e-6), min(limit_milli, round(NOT_CARRIED_BELOW * 1000)))
    missed = max(floor(loose * 1000 + 1e-6), round(COLDEST * 1000))
    missed = min(missed, round(HOTTEST * 1000))
    return Demand(kept if kept <= HOTTEST * 1000 else None, missed)


def is_traded(at_least: bool, limit_milli: int, hold_required: int | None) -> bool:
    """Whether time may stand for temperature under a limit: a step that heats food and asks for a time.

    Args:
        at_least: whether the limit is a least temperature (no unit).
        limit_milli: its temperature, milli-°C.
        hold_required: the time that it asks for, s; None or 0: none.

    Source: judgement; the range of published equivalents.
    """
    return at_least and bool(hold_required) and COLDEST * 1000 <= limit_milli <= HOTTEST * 1000


def _check_temperatures(*temperatures: float) -> None:
    if not all(COLDEST <= t <= HOTTEST for t in temperatures):
        raise ValueError(
            f"Equivalents are known from {COLDEST:g} to {HOTTEST:g} °C only: give a temperature in between."
        )


def _check_time(time: float) -> None:
    if not 0 < time <= LONGEST_HOLD:
        raise ValueError("Give a time that food was held in seconds: above 0 and at most a week.")


def _check_z(z: float) -> None:
    if not 3 <= z <= 15:
        raise ValueError("z is between 3 and 15 K for germs that cooking is to kill: give it in K.")
