"""How many days were reviewed, wait and changed since, in words."""

from collections.abc import Iterable

from shared.plurals import plural

from .days import DayState as State
from .days import ReviewedDay, counts


def in_words(days: Iterable[ReviewedDay]) -> str:
    """Such as “5 days reviewed, 2 waiting for review, 1 of them not reviewed in time.”; empty where nothing was to review."""
    days = list(days)
    count, late = counts(days), sum(each.late for each in days if each.state == State.WAITING)
    waiting = f"{count[State.WAITING]} waiting for review" + (f", {late} of them not reviewed in time" if late else "")
    parts = (
        f"{plural(count[State.REVIEWED], 'day')} reviewed",
        waiting if count[State.WAITING] else "",
        _some(count[State.CHANGED], "changed since the review and to be reviewed again"),
        _some(count[State.SENT_BACK], "not accepted"),
    )
    known = count.total() - count[State.NOTHING] - count[State.RUNNING]
    return f"{', '.join(filter(None, parts))}." if known else ""


def to_do_in_words(days: Iterable[ReviewedDay]) -> str:
    """Such as “2 not reviewed in time, 1 changed since the review”."""
    days = [each for each in days if each.asks]
    count, late = counts(days), sum(each.late for each in days if each.state == State.WAITING)
    parts = (
        _some(late, "not reviewed in time"),
        _some(count[State.WAITING] - late, "waiting for review"),
        _some(count[State.CHANGED], "changed since the review"),
        _some(count[State.SENT_BACK], "not accepted"),
    )
    return ", ".join(filter(None, parts))


def _some(number: int, words: str) -> str:
    return f"{number} {words}" if number else ""
