"""What the readings in a quarantined span could really have been, and whether the limit still held.

Everything is in whole milli-degrees Celsius (mK for differences), so that a database and this module classify every
reading alike: products and sums of 64-bit integers, `abs` and comparisons, nothing else.

The error of a probe is what it reads minus the truth. Only zero was checked; away from zero the error may differ from
that at zero by an allowance, which grows in proportion to the distance.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from .vocabulary import Direction, Outcome, Sensor

_TICK = timedelta(microseconds=1)

# milli-°C: the temperature that an allowance is stated at.
ALLOWANCE_STATED_AT = 75_000

# mK at 75 °C that a check at zero does not see. Platinum: IEC 60751, the part of the tolerance in proportion to |t|
# (class A 0.002, B 0.005). Thermocouples: IEC 60584-1, likewise (class 1 0.004, class 2 0.0075, rounded up).
# Thermistor and all others: judgement.
ALLOWANCES: dict[Sensor, int] = {
    Sensor.PT100_A: 150,
    Sensor.PT100_B: 375,
    Sensor.THERMOCOUPLE_K_1: 300,
    Sensor.THERMOCOUPLE_T_1: 300,
    Sensor.THERMOCOUPLE_K_2: 563,
    Sensor.THERMOCOUPLE_T_2: 563,
    Sensor.THERMISTOR: 200,
    Sensor.LIQUID_IN_GLASS: 500,
    Sensor.BIMETAL: 500,
    Sensor.UNKNOWN: 500,
}

# Percent by which an error at zero may have grown, or shrunk, at 75 °C by the fault that is worst for its sensor:
# the aged resistance of a thermistor (beta equation, 1.62 times) or of a Pt100 (IEC 60751 polynomial, 1.32), the cold
# junction of a thermocouple (IEC 60584-1 sensitivities: K 0.95, T 0.86). An unknown sensor may be the worst of them.
GROWTHS: dict[Sensor, int] = {
    Sensor.THERMISTOR: 62,
    Sensor.UNKNOWN: 62,
    Sensor.PT100_A: 32,
    Sensor.PT100_B: 32,
    Sensor.THERMOCOUPLE_T_1: 14,
    Sensor.THERMOCOUPLE_T_2: 14,
    Sensor.THERMOCOUPLE_K_1: 5,
    Sensor.THERMOCOUPLE_K_2: 5,
    Sensor.LIQUID_IN_GLASS: 0,
    Sensor.BIMETAL: 0,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorAt:
    """The error of a probe (mK, reading minus truth) with its expanded uncertainty (mK) at one check."""

    at: datetime
    error: int
    expanded: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Bracket:
    """The checks on either side of a span (None: no check speaks for that side) and the allowance in mK at 75 °C."""

    start: ErrorAt | None
    end: ErrorAt | None
    allowance: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorBounds:
    """Least and greatest error in mK during a span where the probe shows 0 °C, None where nothing bounds it.

    `allowance` is how far from them the error may be, in mK, where the probe shows 75 °C or -75 °C.
    """

    low: int | None
    high: int | None
    allowance: int


def allowance_at_75(sensor: Sensor, largest_zero_error: int) -> int:
    """How far the error at 75 °C may differ from that at zero, the only point checked.

    Args:
        sensor: the kind of sensor, with its accuracy class (no unit).
        largest_zero_error: the larger of the errors at zero of the bracketing checks, mK, of either sign; with its
            expanded uncertainty added it is on the safe side.

    Returns:
        A half-width, mK, rounded up.

    Source: IEC 60751 and IEC 60584-1 (tolerances in proportion to temperature); the thermistor's beta equation;
        thermistors' 0.2 °C and the 0.5 °C of other sensors are judgement.
    """
    return ALLOWANCES[sensor] + _ceil_div(GROWTHS[sensor] * abs(largest_zero_error), 100)


def bounds(bracket: Bracket) -> ErrorBounds:
    """The worst case: the error lay between both bracketing errors, each with its expanded uncertainty.

    That covers any drift in one direction, steady or sudden. A side without a check leaves the error unbounded.

    The allowance goes by the true temperature, of which only what the probe shows is known. With E the largest error
    and a the allowance per degree, |truth| <= (|shown| + E) / (1 - a): the bounds are stated by what is shown.

    Args:
        bracket: the errors at both ends and the allowance, mK.

    Returns:
        The least and the greatest error, mK; both None unless both sides have a check.

    Raises:
        ValueError: if an uncertainty is negative, the allowance is not within 0 to 75 000 mK (excluded), or the
            checks are in the wrong order.
    """
    start, end = bracket.start, bracket.end
    ends = [check for check in (start, end) if check is not None]
    if any(check.expanded < 0 for check in ends):
        raise ValueError("An uncertainty is a half-width: give it as zero or more, in mK.")
    if not 0 <= bracket.allowance < ALLOWANCE_STATED_AT:
        raise ValueError("The allowance is a half-width at 75 °C: give it as 0 or more, and less than 75 000 mK.")
    allowance = _ceil_div(bracket.allowance * ALLOWANCE_STATED_AT, ALLOWANCE_STATED_AT - bracket.allowance)
    if start is None or end is None:
        return ErrorBounds(low=None, high=None, allowance=allowance)
    if start.at > end.at:
        raise ValueError("The check at the start is later than the one at the end: swap them.")
    low = min(check.error - check.expanded for check in ends)
    high = max(check.error + check.expanded for check in ends)
    beyond_shown = _ceil_div(allowance * max(abs(low), abs(high)), ALLOWANCE_STATED_AT)
    return ErrorBounds(low=low - beyond_shown, high=high + beyond_shown, allowance=allowance)


def true_range(value: int, bounds: ErrorBounds) -> tuple[int, int] | None:
    """Between which temperatures the truth lay.

    Args:
        value: the reading, milli-°C.
        bounds: the error during the span, mK.

    Returns:
        The coldest and the hottest that it can have been, milli-°C, rounded outward; None where the error is not
        bounded. Because of the rounding an end that equals a limit does not tell whether it held: `classify` does.
    """
    if bounds.low is None or bounds.high is None:
        return None
    spread = _ceil_div(bounds.allowance * abs(value), ALLOWANCE_STATED_AT)
    return value - bounds.high - spread, value - bounds.low + spread


def likely(value: int, at: datetime, bracket: Bracket) -> int | None:
    """The likely truth of a reading: the error drifted in a straight line from one check to the other.

    Args:
        value: the reading, milli-°C.
        at: when it was taken (an aware time).
        bracket: the errors at both ends, mK.

    Returns:
        Milli-°C, the drift rounded half up. With one check only its error is taken as it was; None with none.

    Raises:
        ValueError: if `at` lies outside the two checks.
    """
    start, end = bracket.start, bracket.end
    if start is None or end is None:
        known = start or end
        return value - known.error if known else None
    if not start.at <= at <= end.at:
        raise ValueError("The reading was not taken between the two checks: look up the span that it falls in.")
    whole, part = (end.at - start.at) // _TICK, (at - start.at) // _TICK
    if whole == 0:
        return value - end.error
    drifted = (2 * (end.error - start.error) * part + whole) // (2 * whole)
    return value - start.error - drifted


def classify(value: int, limit: int, direction: Direction, bounds: ErrorBounds) -> Outcome:
    """Whether a limit held whatever the error, was broken whatever the error, or cannot be told.

    A temperature that equals the limit keeps it. In a database, with 64-bit integers, where low and high are not null:

        coldest = (value - high) * 75000 - allowance * abs(value)
        hottest = (value - low) * 75000 + allowance * abs(value)
        at most:  held if hottest <= limit * 75000, broken if coldest > limit * 75000
        at least: held if coldest >= limit * 75000, broken if hottest < limit * 75000

    Args:
        value: the reading, milli-°C.
        limit: the critical limit, milli-°C.
        direction: which side of the limit is safe (no unit).
        bounds: the error during the span, mK.

    Returns:
        The outcome; undecided where the error is not bounded.
    """
    if bounds.low is None or bounds.high is None:
        return Outcome.UNDECIDED
    spread = bounds.allowance * abs(value)
    coldest = (value - bounds.high) * ALLOWANCE_STATED_AT - spread
    hottest = (value - bounds.low) * ALLOWANCE_STATED_AT + spread
    bound = limit * ALLOWANCE_STATED_AT
    if direction is Direction.AT_MOST:
        held, broken = hottest <= bound, coldest > bound
    else:
        held, broken = coldest >= bound, hottest < bound
    return Outcome.HELD if held else Outcome.BROKEN if broken else Outcome.UNDECIDED


def _ceil_div(numerator: int, denominator: int) -> int:
    return -(-numerator // denominator)
