"""Days, moments and lengths of time in words. Nowhere else is one put together; files for programs use ISO 8601."""

import re
from datetime import UTC, date, datetime, time, timedelta, tzinfo

from .plurals import plural

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
SECONDS = {"h": 3600, "min": 60, "s": 1}
PART = re.compile(r"(\d{1,5})\s*(h(?:ours?|rs?)?|m(?:in(?:ute)?s?)?|s(?:ec(?:ond)?s?)?)?", re.IGNORECASE)
LONGEST = 48 * 3600
MONTH = 365.25 / 12  # days


def on_clock(at: datetime, zone: tzinfo) -> datetime:
    """A moment on the clock of a zone; one on the first or last day of the calendar, which some clocks do not reach, in UTC."""
    try:
        return at.astimezone(zone)
    except OverflowError:
        return at.astimezone(UTC)


def short_day(on: date) -> str:
    """Such as “14 Mar”."""
    return f"{on.day} {MONTHS[on.month - 1]}"


def day_words(on: date) -> str:
    """Such as “14 Mar 2026”."""
    return f"{short_day(on)} {on.year}"


def padded_day(on: date) -> str:
    """The same for columns: “04 Mar 2026”."""
    return f"{on:%d} {MONTHS[on.month - 1]} {on.year}"


def weekday_day(on: date) -> str:
    """Such as “Sat 14 Mar”."""
    return f"{on:%a} {short_day(on)}"


def long_weekday_day(on: date) -> str:
    """Such as “Saturday 14 Mar 2026”."""
    return f"{on:%A} {day_words(on)}"


def long_day(on: date) -> str:
    """Such as “14 March 2026”."""
    return f"{on.day} {on:%B %Y}"


def clock_time(at: time | datetime) -> str:
    """The time of day: “16:05”."""
    return f"{at:%H:%M}"


def told_apart(local: datetime) -> str:
    """The time of day of a local time: “16:05”, or “01:30 GMT” in an hour that the clocks repeat."""
    if local.utcoffset() == local.replace(fold=1 - local.fold).utcoffset():
        return clock_time(local)
    return f"{clock_time(local)} {local.tzname()}"


def moment(at: datetime, zone: tzinfo) -> str:
    """A date and time at the site: “14 Mar 2026 16:05”; where the clock shows that hour twice, with the zone's name."""
    local = on_clock(at, zone)
    return f"{day_words(local)} {told_apart(local)}"


def zoned_moment(at: datetime, zone: tzinfo) -> str:
    """Such as “14 Mar 2026 16:05 GMT”. Raises ValueError for a time without a zone."""
    if at.tzinfo is None:
        raise ValueError("A printed time needs a zone; pass an aware datetime.")
    local = on_clock(at, zone)
    return f"{day_words(local)} {clock_time(local)} {local.tzname()}"


def local_moment(at: datetime, zone: tzinfo) -> str:
    """Such as “14 Mar 2026 16:05”, where the page names the zone."""
    local = on_clock(at, zone)
    return f"{day_words(local)} {clock_time(local)}"


def short_moment(at: datetime, zone: tzinfo) -> str:
    """Such as “14 Mar 16:05”."""
    local = on_clock(at, zone)
    return f"{short_day(local)} {clock_time(local)}"


def listed_moment(at: datetime, zone: tzinfo) -> str:
    """The same for lists: “04 Mar 16:05”."""
    local = on_clock(at, zone)
    return f"{local:%d} {short_moment(at, zone).partition(' ')[2]}"


def recent_moment(at: datetime, zone: tzinfo, now: datetime) -> str:
    """Of today “today 16:05”; of another day “14 Mar 16:05”, with the year where that is another one."""
    local, today = at.astimezone(zone), now.astimezone(zone)
    if local.date() == today.date():
        return f"today {clock_time(local)}"
    return f"{short_day(local) if local.year == today.year else day_words(local)} {clock_time(local)}"


STYLES = {
    "full": zoned_moment,
    "short": short_moment,
    "day": lambda at, zone: day_words(on_clock(at, zone)),
    "clock": lambda at, zone: clock_time(on_clock(at, zone)),
}


def styled(at: datetime, zone: tzinfo, style: str = "full") -> str:
    """In one of the styles of pages. Raises ValueError for a time without a zone, or an unknown style."""
    if style not in STYLES:
        raise ValueError(f"There is no style {style!r} of a time; use one of {', '.join(STYLES)}.")
    if at.tzinfo is None:
        raise ValueError("A printed time needs a zone; pass an aware datetime.")
    return STYLES[style](at, zone)


def duration(seconds: int | None) -> str:
    """A time for people: “17 s”, “3 min”, “1 min 25 s”, “2 h”; empty for none."""
    left, parts = seconds or 0, []
    for unit, size in SECONDS.items():
        count, left = divmod(left, size)
        if count:
            parts.append(f"{count} {unit}")
    return " ".join(parts)


def parse_duration(text: str) -> int:
    """Seconds from '17 s', '3 min', '1 h 30 min'; a bare number is seconds. Raises ValueError saying what to type."""
    cleaned = text.strip()
    parts = PART.findall(cleaned)
    if not parts or PART.sub("", cleaned).strip(" ,") or (len(parts) > 1 and not all(unit for _, unit in parts)):
        raise ValueError(f"“{cleaned[:20]}” is not a time. Type it as 15 s, 3 min or 1 h 30 min.")
    total = sum(int(count) * _size(unit) for count, unit in parts)
    if not 0 < total <= LONGEST:
        raise ValueError("Give a time between 1 second and 48 hours.")
    return total


def _size(unit: str) -> int:
    return {"h": 3600, "m": 60}.get(unit[:1].lower(), 1)


def whole_unit(minutes: int) -> str:
    """Minutes in the largest unit that fits: “90 min”, “2 h” or “3 days”."""
    if minutes and minutes % 1440 == 0:
        return plural(minutes // 1440, "day")
    return f"{minutes // 60} h" if minutes and minutes % 60 == 0 else f"{minutes} min"


def minutes_seconds(seconds: float) -> str:
    """Such as “45 s”, “2 min” or “2 min 30 s”."""
    minutes, rest = divmod(round(seconds), 60)
    if not minutes:
        return f"{rest} s"
    return f"{minutes} min {rest} s" if rest else f"{minutes} min"


def stopwatch(seconds: float) -> str:
    """Minutes and seconds, such as “1:05”; hours too where they are needed."""
    minutes, rest = divmod(max(0, int(seconds)), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


def about(gap: timedelta) -> str:
    """A length of time as people say it: “3 days”, “about 5 weeks”, “about 5 months”."""
    days = max(gap / timedelta(days=1), 0.0)
    if days < 14:
        return plural(max(round(days), 1), "day")
    if days < 60:
        return f"about {round(days / 7)} weeks"
    if days < 730:
        return f"about {round(days / MONTH)} months"
    return f"about {round(days / 365.25)} years"
