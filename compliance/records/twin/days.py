"""The days of the period: who reviewed them, when the site worked, why it did not, and which plans of checks were set."""

from collections.abc import Iterator

from django.db.models import QuerySet

from compliance.plans.wording import closure_scope
from compliance.reviews.days import DayState
from compliance.reviews.models import Review

from ..scope import RecordScope
from ..sections.days import closed_days, closures, hours_set, plans_here
from ..sections.reviews import days_reviewed
from ..statements import asked
from .table import ENTERED, STRUCK, Col, DataTable, Holds, entered, key, struck, who

STANDS = (DayState.REVIEWED, DayState.SENT_BACK)


def _reviewed(scope: RecordScope) -> Iterator[tuple]:
    for each in days_reviewed(scope):
        number = key("review", each.review and each.review.pk)
        yield each.day.isoformat(), each.state.value, each.late, each.facts.count, number


REVIEWED_DAYS = DataTable(
    "days",
    "Each day of the period and what had become of its review when this was made.",
    (
        Col("day", Holds.DAY),
        Col("review", Holds.TEXT, "running, nothing (to review), waiting, sent_back, changed (since) or reviewed."),
        Col("late", Holds.FLAG, "It asks for a review, and the days for it are over."),
        Col("records", Holds.WHOLE),
        Col("last_review", Holds.MAYBE_TEXT),
    ),
    _reviewed,
)


def _reviews(scope: RecordScope) -> Iterator[tuple]:
    days = days_reviewed(scope)
    for each in _signed(scope):
        mine = [day for day in days if day.review and day.review.pk == each.pk]
        yield (
            key("review", each.pk),
            each.first_day.isoformat(),
            each.last_day.isoformat(),
            each.meaning,
            each.words,
            each.remarks,
            [day.day.isoformat() for day in mine if day.state in STANDS],
            each.rests_on,
            each.entry_number,
            each.entry_hash,
            each.recorded_at,
            who(scope, each),
        )


@asked
def _signed(scope: RecordScope) -> QuerySet[Review]:
    signed = Review.objects.filter(
        site=scope.site, first_day__lte=scope.last, last_day__gte=scope.first, recorded_at__lte=scope.now
    )
    return signed.order_by("pk")


REVIEWS = DataTable(
    "reviews",
    "Every review of days of the period, also one that a later review or a later record has overtaken.",
    (
        Col("number", Holds.TEXT),
        Col("first_day", Holds.DAY),
        Col("last_day", Holds.DAY),
        Col("meaning", Holds.TEXT),
        Col("words", Holds.TEXT, "What was signed."),
        Col("remarks", Holds.TEXT),
        Col(
            "stands_for", Holds.DAYS, "The days of the period of which it is the last, and which nothing was added to."
        ),
        Col("records", Holds.COUNTS, "How many each day had when it was signed."),
        Col("entry_number", Holds.WHOLE, "The newest entry of the trail then."),
        Col("entry_hash", Holds.TEXT),
        Col("signed_at", Holds.MOMENT),
        Col("signed_by", Holds.TEXT),
    ),
    _reviews,
)


def _hours(scope: RecordScope) -> Iterator[tuple]:
    for each in filter(None, hours_set(scope)):
        yield each.effective_from.isoformat(), each.hours, each.reason, *entered(scope, each)


HOURS = DataTable(
    "hours",
    "Hours of work: those in force when the period began, where any were set, and each that began in it.",
    (
        Col("from", Holds.DAY),
        Col("week", Holds.ANYTHING, "Monday first: opening and closing, or null where closed that day."),
        Col("reason", Holds.TEXT),
        *ENTERED,
    ),
    _hours,
)


def _closures(scope: RecordScope) -> Iterator[tuple]:
    for each in closures(scope):
        days = each.first_day.isoformat(), each.last_day.isoformat()
        told = *days, each.why, closure_scope(scope.named(each)), *entered(scope, each)
        yield key("closure", each.pk), *told, *struck(each, lambda pk: key("closure", pk), scope)


CLOSURES = DataTable(
    "closures",
    "Days without work, as they were entered.",
    (
        Col("number", Holds.TEXT),
        Col("first_day", Holds.DAY),
        Col("last_day", Holds.DAY),
        Col("why", Holds.TEXT),
        Col("where", Holds.TEXT),
        *ENTERED,
        *STRUCK,
    ),
    _closures,
)


def _closed(scope: RecordScope) -> Iterator[tuple]:
    return ((first.isoformat(), last.isoformat(), why, what) for first, last, why, what in closed_days(scope))


CLOSED = DataTable(
    "closed_days",
    "Days without work that no closure was entered for: public holidays, and days on which the site was closed for good.",
    (
        Col("first_day", Holds.DAY),
        Col("last_day", Holds.DAY),
        Col("why", Holds.TEXT),
        Col("what", Holds.TEXT),
    ),
    _closed,
)


def _plans(scope: RecordScope) -> Iterator[tuple]:
    for plan, of, told in plans_here(scope):
        yield plan.effective_from.isoformat(), of, told, plan.in_force, plan.reason, *entered(scope, plan)


PLANS = DataTable(
    "plans",
    "Plans of checks that began in the period and reach the site or one of its probes.",
    (
        Col("from", Holds.DAY),
        Col("of", Holds.TEXT),
        Col("checks", Holds.TEXT),
        Col("in_force", Holds.FLAG),
        Col("reason", Holds.TEXT),
        *ENTERED,
    ),
    _plans,
)
