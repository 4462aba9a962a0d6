"""What fell due in the period and what became of it: counts by day, all that was not done in its time, excuses; appliances."""

from collections.abc import Iterator

from django.db.models import QuerySet

from compliance.reminders.models import Excuse

from ..planned_counts import ORDER, count_planned, exceptions
from ..scope import RecordScope
from ..sections.appliances import out_of_use, rounds_of_appliances
from ..sections.reminders import what_became
from ..statements import asked
from .table import ENTERED, STRUCK, Col, DataTable, Holds, code, entered, key, struck, who


def _planned(scope: RecordScope) -> Iterator[tuple]:
    planned = count_planned(scope)
    columns = planned.columns
    for day in planned.days:
        for what, title in columns:
            told = planned.on(day, what)
            yield from ((day.isoformat(), title, became, told[became]) for became in ORDER if told[became])


PLANNED = DataTable(
    "planned",
    "How many checks and readings fell due on each day, by what became of them.",
    (
        Col("day", Holds.DAY),
        Col("what", Holds.TEXT, "Checks, or the limit that a reading was asked for."),
        Col("became", Holds.TEXT),
        Col("number", Holds.WHOLE),
    ),
    _planned,
)


def _not_in_time(scope: RecordScope) -> Iterator[tuple]:
    for told in exceptions(scope):
        check, reading, reminder = told.check, told.reading, told.reminder
        done = (check.checked_at, who(scope, check, "checked_by"), code("C", check.pk)) if check else (None, None, None)
        if reading:
            done = reading.taken_at, who(scope, reading, "taken_by"), code("R", reading.pk)
        yield (
            reminder.due_at,
            str(told.title),
            reminder.because,
            what_became(told),
            *done,
            code("R", told.doubted and told.doubted.pk),
            key("excuse", told.excuse and told.excuse.pk),
            reminder.cancelled_at,
            reminder.cancelled_because,
        )


NOT_IN_TIME = DataTable(
    "not_in_time",
    "Checks and readings that fell due in the period and were not done, or not in time.",
    (
        Col("due_at", Holds.MOMENT),
        Col("what", Holds.TEXT),
        Col("because", Holds.TEXT),
        Col("became", Holds.TEXT),
        Col("done_at", Holds.MAYBE_MOMENT),
        Col("done_by", Holds.MAYBE_TEXT),
        Col("done", Holds.MAYBE_TEXT, "The number of the check or reading."),
        Col("not_counted", Holds.MAYBE_TEXT, "A reading with a probe that was not to be relied on."),
        Col("excuse", Holds.MAYBE_TEXT, "The one that stands."),
        Col("not_asked_since", Holds.MAYBE_MOMENT),
        Col("not_asked_because", Holds.TEXT),
    ),
    _not_in_time,
)


def _excuses(scope: RecordScope) -> Iterator[tuple]:
    for each in _made(scope):
        due_at, probe = each.reminder.due_at, each.reminder.probe
        what = str(probe.particulars_at(due_at)) if probe else each.reminder.what_then
        told = due_at, what, each.reason, *entered(scope, each)
        yield key("excuse", each.pk), *told, *struck(each, lambda pk: key("excuse", pk), scope)


@asked
def _made(scope: RecordScope) -> QuerySet[Excuse]:
    due = {"reminder__due_at__gte": scope.start, "reminder__due_at__lt": scope.end}
    found = Excuse.objects.filter(reminder__site=scope.site, recorded_at__lte=scope.now, **due)
    related = "reminder__probe", "reminder__limit", "reminder__appliance", "void"
    return found.select_related(*related).order_by("reminder__due_at", "pk")


EXCUSES = DataTable(
    "excuses",
    "Why something that fell due in the period was not done, as somebody said.",
    (
        Col("number", Holds.TEXT),
        Col("due_at", Holds.MOMENT),
        Col("what", Holds.TEXT),
        Col("reason", Holds.TEXT),
        *ENTERED,
        *STRUCK,
    ),
    _excuses,
)


def _appliances(scope: RecordScope) -> Iterator[tuple]:
    return ((*named, *numbers) for named, numbers in rounds_of_appliances(scope))


APPLIANCES = DataTable(
    "appliances",
    "What is measured regularly, and how many of the rounds of the period came to what.",
    (
        Col("appliance", Holds.TEXT),
        Col("place", Holds.TEXT),
        Col("limit", Holds.TEXT),
        Col("rounds", Holds.WHOLE),
        Col("done", Holds.WHOLE),
        Col("done_late", Holds.WHOLE, "Part of those done."),
        Col("missed", Holds.WHOLE),
        Col("excused", Holds.WHOLE),
        Col("other", Holds.WHOLE),
    ),
    _appliances,
)


def _out_of_use(scope: RecordScope) -> Iterator[tuple]:
    for each in out_of_use(scope):
        back = getattr(each, "back", None)
        told = each.appliance.named_at(each.starts_at).name, each.starts_at, each.ends_at, each.why, each.note
        returned = (back.recorded_at, who(scope, back)) if back else (None, None)
        yield *told, *returned, *entered(scope, each), *struck(each, lambda pk: None, scope)


OUT_OF_USE = DataTable(
    "appliances_out_of_use",
    "When no reading of an appliance was owed.",
    (
        Col("appliance", Holds.TEXT),
        Col("from", Holds.MOMENT),
        Col("until", Holds.MAYBE_MOMENT, "As it was foreseen; null: until it is back."),
        Col("why", Holds.TEXT),
        Col("note", Holds.TEXT),
        Col("back_at", Holds.MAYBE_MOMENT, "When somebody said that it was back."),
        Col("back_by", Holds.MAYBE_TEXT),
        *ENTERED,
        *STRUCK,
    ),
    _out_of_use,
)
