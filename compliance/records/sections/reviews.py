"""Which days somebody else has read and signed, who, when, with which remarks; and which wait for it."""

from collections.abc import Iterator
from itertools import groupby

from compliance.plans.wording import span_words
from compliance.reviews.days import DayState, ReviewedDay, days_of
from compliance.reviews.models import Review
from shared.badges import BADGES
from shared.plurals import plural
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import moment

from ..scope import RecordScope, once

COLUMNS = [
    Column("Days", points=120),
    Column("Review", points=104),
    Column("By", points=150),
    Column("Remarks", share=1),
]
HEADING = "Reviews of days"
QUIET = (DayState.NOTHING, DayState.RUNNING)


@once
def days_reviewed(scope: RecordScope) -> list[ReviewedDay]:
    last = min(scope.last, scope.now.astimezone(scope.zone).date())
    return days_of(scope.site, scope.first, last, scope.now)


def write(writer: Writer, scope: RecordScope) -> None:
    """Where no day was to be reviewed, the first page says so."""
    if any(each.state not in QUIET for each in days_reviewed(scope)):
        writer.heading(HEADING)
        writer.table(COLUMNS, _rows(scope))
        writer.paragraph(
            "A day is reviewed by a manager or supervisor who made none of its records. Who signs says: they read the records, "
            "and what was not in order was dealt with. A record that is added to a day afterwards asks for review again.",
            small=True,
        )


def _rows(scope: RecordScope) -> Iterator[Row]:
    """Days in a row of which the same is to be said stand together."""
    told = (each for each in days_reviewed(scope) if each.state not in QUIET)
    for (state, late, _), days in groupby(told, lambda each: (each.state, each.late, each.review and each.review.pk)):
        days = list(days)
        review = days[0].review
        word = BADGES["review"]["late" if late and state == DayState.WAITING else state.value].word
        by = _by(review, scope) if review else ""
        cells = (_days(days), word, by, review.remarks if review else "")
        yield Row(cells, strong=late or state in (DayState.CHANGED, DayState.SENT_BACK))


def _days(days: list[ReviewedDay]) -> str:
    words = span_words(days[0].day, days[-1].day)
    between = (days[-1].day - days[0].day).days + 1
    return words if between == len(days) else f"{words}, {plural(len(days), 'day')} with records"


def _by(review: Review, scope: RecordScope) -> str:
    return f"{scope.people.full_of(review)}, {moment(review.recorded_at, scope.zone)}"
