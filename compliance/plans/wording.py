"""Plans, hours and closures in words."""

from collections.abc import Sequence
from datetime import date
from itertools import groupby

from shared.time_text import clock_time, day_words, whole_unit

from .calendar import WEEKDAYS, Calendar, Hours
from .models import Closure, Opening, Round
from .queries import InForce

SHORT = tuple(name.removesuffix("s") for name in WEEKDAYS)


def span_words(first: date, last: date) -> str:
    return day_words(first) if first == last else f"{day_words(first)} to {day_words(last)}"


def plan_words(found: InForce) -> str:
    """Such as “every 7 days at 09:00, overdue 2 h later”."""
    grace = found.plan.grace_minutes
    return f"{found.plan.told}, overdue {whole_unit(grace)} later" if grace else found.plan.told


def round_words(each: Round | None) -> str:
    return each.usual if each else "no rounds"


def hours_words(hours: Hours | None) -> str:
    if hours is None:
        return "closed"
    if hours.opens == hours.closes:
        return f"24 hours from {clock_time(hours.opens)}"
    after = ", after midnight" if hours.closes < hours.opens else ""
    return f"{clock_time(hours.opens)} to {clock_time(hours.closes)}{after}"


def week_facts(opening: Opening | None) -> list[tuple[str, str]]:
    """The hours of each weekday; one line where nothing is said."""
    if opening is None:
        return [("Every day", "open; hours not said")]
    return [(name, hours_words(hours)) for name, hours in zip(SHORT, opening.as_hours(), strict=True)]


def week_in_short(opening: Opening | None) -> list[tuple[str, str]]:
    """The same with days of the same hours that follow each other on one line, such as “Monday to Friday”."""
    alike = groupby(week_facts(opening), key=lambda fact: fact[1])
    groups = [(hours, [name for name, _ in facts]) for hours, facts in alike]
    return [(" to ".join(dict.fromkeys((days[0], days[-1]))), hours) for hours, days in groups]


def closure_scope(closure: Closure) -> str:
    return str(closure.site or closure.area or closure.business)


def holidays_ahead(calendar: Calendar, days: Sequence[date]) -> list[tuple[str, str]]:
    """The public holidays among these days on which the site is closed."""
    return [(day_words(day), calendar.holidays.get(day)) for day in days if calendar.holidays.get(day)]
