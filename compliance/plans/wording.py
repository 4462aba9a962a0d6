"""Plans, hours and closures in words."""

from collections.abc import Sequence
from datetime import date
from itertools import groupby

from shared.printing.page import MONTHS

from .calendar import WEEKDAYS, Calendar, Hours
from .models import Closure, Opening, Round
from .queries import InForce

SHORT = tuple(name.removesuffix("s") for name in WEEKDAYS)


def day_words(day: date) -> str:
    """Such as “14 Mar 2026”."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def span_words(first: date, last: date) -> str:
    return day_words(first) if first == last else f"{day_words(first)} to {day_words(last)}"


def plan_words(found: InForce) -> str:
    """Such as “every 7 days at 09:00, overdue 2 h later”."""
    grace = found.plan.grace_minutes
    return f"{found.plan.told}, overdue {duration(grace)} later" if grace else found.plan.told


def duration(minutes: int) -> str:
    """Such as “90 min”, “2 h” or “3 days”."""
    for size, name in ((1440, "day"), (60, "h")):
        if minutes and minutes % size == 0:
            count = minutes // size
            return f"{count} {name}{'s' if name == 'day' and count > 1 else ''}"
    return f"{minutes} min"


def round_words(each: Round | None) -> str:
    return each.usual if each else "no rounds"


def hours_words(hours: Hours | None) -> str:
    if hours is None:
        return "closed"
    if hours.opens == hours.closes:
        return f"24 hours from {hours.opens:%H:%M}"
    after = ", after midnight" if hours.closes < hours.opens else ""
    return f"{hours.opens:%H:%M} to {hours.closes:%H:%M}{after}"


def week_facts(opening: Opening | None) -> list[tuple[str, str]]:
    """The hours of each weekday; one line where nothing is said."""
    if opening is None:
        return [("Every day", "open; hours not said")]
    return [(name, hours_words(hours)) for name, hours in zip(SHORT, opening.as_hours(), strict=True)]


def week_in_short(opening: Opening | None) -> list[tuple[str, str]]:
    """The same with days of the same hours that follow each other on one line, such as “Monday to Friday”."""
    groups = [[name for name, _ in alike] for _, alike in groupby(week_facts(opening), key=lambda fact: fact[1])]
    hours = [told for told, _ in groupby(week_facts(opening), key=lambda fact: fact[1])]
    return [(" to ".join(dict.fromkeys((days[0], days[-1]))), told) for days, told in zip(groups, hours, strict=True)]


def closure_scope(closure: Closure) -> str:
    return str(closure.site or closure.area or closure.business)


def holidays_ahead(calendar: Calendar, days: Sequence[date]) -> list[tuple[str, str]]:
    """The public holidays among these days on which the site is closed."""
    return [(day_words(day), calendar.holidays.get(day)) for day in days if calendar.holidays.get(day)]
