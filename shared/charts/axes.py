"""Ticks that people would choose: round numbers, round times on the site's own clock, °C or °F."""

import math
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from shared.time_text import MONTHS, minutes_seconds, short_day

_HOURS = (1, 2, 3, 6, 12)
_DAYS = (1, 2, 7, 14)
_MONTHS = (1, 2, 3, 6, 12, 24, 60, 120)
_SECONDS = (5, 10, 15, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600)


@dataclass(frozen=True, slots=True)
class AxisUnit:
    """A scale of temperature for display: its sign, and how it is reached from °C."""

    sign: str
    factor: float
    offset: float

    def value(self, celsius: float) -> float:
        """A temperature in °C on this scale."""
        return celsius * self.factor + self.offset

    def difference(self, kelvin: float) -> float:
        """A difference, error or uncertainty in °C on this scale."""
        return kelvin * self.factor


CELSIUS = AxisUnit("°C", 1.0, 0.0)
FAHRENHEIT = AxisUnit("°F", 1.8, 32.0)


def unit_of(name: str) -> AxisUnit:
    """The scale for "C", "°C", "F" or "°F".

    Raises:
        ValueError: for any other name.
    """
    scales = {"C": CELSIUS, "F": FAHRENHEIT}
    letter = name.strip().removeprefix("°").upper()
    if letter not in scales:
        raise ValueError(f"Temperatures are shown in °C or °F, not in {name!r}.")
    return scales[letter]


@dataclass(frozen=True, slots=True)
class Scale:
    """A straight line from values to points on paper."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    def clip(self, value: float) -> float:
        """The position of a value, held within the ends."""
        return self(min(max(value, self.low), self.high))


def nice_step(span: float, count: int) -> float:
    """The smallest of 1, 2, 5 times a power of ten that cuts `span` into at most `count` parts.

    Raises:
        ValueError: when the span or the count is not above zero.
    """
    if span <= 0 or count < 1:
        raise ValueError("An axis needs a span above zero and at least one part.")
    power = 10.0 ** math.floor(math.log10(span / count))
    return next(power * m for m in (1, 2, 5, 10) if span / (power * m) <= count * (1 + 1e-9))


def nice_ticks(low: float, high: float, count: int = 5) -> list[float]:
    """Round numbers from `low` to `high`, both included where they are round."""
    step = nice_step(high - low, count)
    digits = max(0, -math.floor(math.log10(step)))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    if first > last:  # between two multiples of so long a step
        return nice_ticks(low, high, count + 1)
    return [round(n * step, digits) + 0.0 for n in range(first, last + 1)]


def number(value: float, digits: int) -> str:
    """A number with a true minus sign, never "−0"."""
    text = f"{value:.{digits}f}"
    if float(text) == 0:
        return text.removeprefix("-")
    return text.replace("-", "−")


@dataclass(frozen=True, slots=True)
class Axes:
    """Where a picture has its values: along, upwards, and in which unit."""

    across: Scale
    up: Scale
    scale: AxisUnit


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """What a picture of a probe's errors is held in: half-width of the tolerance, °C; aware times, the axis being labelled on
    the clock of `zone`; "C" or "F", for display only."""

    tolerance: float
    start: datetime
    end: datetime
    zone: tzinfo
    unit: str = "C"


def digits_of(ticks: list[float]) -> int:
    """Decimals needed to tell the ticks apart."""
    return next((d for d in range(4) if all(abs(round(t, d) - t) < 1e-9 for t in ticks)), 4)


def elapsed_ticks(end: float, count: int = 5) -> list[tuple[float, str]]:
    """Ticks and labels for seconds since the start."""
    step = next((s for s in _SECONDS if end / s <= count), math.ceil(end / count / 3600) * 3600)
    return [(n * step, minutes_seconds(n * step)) for n in range(int(end / step + 1e-9) + 1)]


def time_ticks(start: datetime, end: datetime, zone: tzinfo, count: int = 6) -> list[tuple[datetime, str]]:
    """At most `count` + 1 round times of the site's own clock, with labels; days and months begin at its midnight.

    Raises:
        ValueError: when a time has no zone or the end is not after the start.
    """
    if start.tzinfo is None or end.tzinfo is None:
        raise ValueError("A time axis needs aware times; give them a zone.")
    if end <= start:
        raise ValueError("A time axis has to end after it starts.")
    hours = (end - start).total_seconds() / 3600
    for step in _HOURS:
        if hours / step <= count:
            return _hour_ticks(start, end, zone, step)
    for step in _DAYS:
        if hours / 24 / step <= count:
            return _day_ticks(start, end, zone, step)
    step = next((m for m in _MONTHS if hours / 24 / 30.4 / m <= count), 240)
    return _month_ticks(start, end, zone, step)


def _hour_ticks(start, end, zone, step):
    local = start.astimezone(zone)
    day, ticks = local.replace(hour=0, minute=0, second=0, microsecond=0), []
    while day <= end:
        for hour in range(0, 24, step):
            at = day.replace(hour=hour)
            if start <= at <= end:
                ticks.append((at, short_day(at) if hour == 0 else f"{hour:02d}:00"))
        day = (day + timedelta(hours=36)).replace(hour=0, tzinfo=zone)
    return ticks


def _day_ticks(start, end, zone, step):
    local = start.astimezone(zone).date()
    # Weeks begin on Mondays, so that two pictures of one probe share their ticks.
    day = local - timedelta(days=local.weekday() if step % 7 == 0 else (local.toordinal() % step))
    ticks = []
    while (at := datetime(day.year, day.month, day.day, tzinfo=zone)) <= end:
        if at >= start:
            ticks.append((at, short_day(day)))
        day += timedelta(days=step)
    return ticks


def _month_label(at: datetime, step: int, *, with_year: bool) -> str:
    if step >= 12:
        return str(at.year)
    return f"{MONTHS[at.month - 1]} {at.year}" if with_year else MONTHS[at.month - 1]


def _month_ticks(start, end, zone, step):
    local = start.astimezone(zone)
    month, ticks = (local.year * 12 + local.month - 1) // step * step, []
    while (at := datetime(month // 12, month % 12 + 1, 1, tzinfo=zone)) <= end:
        if at >= start:
            ticks.append((at, _month_label(at, step, with_year=not ticks or at.month == 1)))
        month += step
    return ticks
