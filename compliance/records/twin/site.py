"""What held at the site: its limits, the signatures under cases, what was not done in time, and the trail of changes."""

from collections.abc import Iterator

from compliance.limits.models import LimitVersion
from compliance.limits.wording import demand
from compliance.reminders.queries import tell

from ..case_rows import cases_here
from ..planned_counts import exceptions
from ..scope import RecordScope
from ..sections.annex import entries_of
from ..sections.plan import source_of
from ..sections.reminders import what_became
from ..trail_words import act_of, record_of
from .table import Col, DataTable, Holds


def _limits(scope: RecordScope) -> Iterator[tuple]:
    versions = LimitVersion.objects.filter(limit__site=scope.site.pk, recorded_at__lte=scope.now).select_related(
        "limit__rule"
    )
    for each in versions.filter(effective_from__lt=scope.end).order_by("limit__code", "effective_from", "pk"):
        yield (
            each.limit.code,
            each.limit.title,
            demand(each) if each.in_force else None,
            each.value_milli,
            each.hold_s,
            each.within_s,
            each.in_force,
            each.effective_from,
            source_of(each),
            each.reason,
            each.recorded_at,
            str(scope.people.name(each.recorded_by_id, each.recorded_at)),
        )


LIMITS = DataTable(
    "limits",
    "Every version of a limit of the site that began before the end of the period; the last that had begun counts.",
    (
        Col("code", Holds.TEXT),
        Col("title", Holds.TEXT),
        Col("demands", Holds.MAYBE_TEXT),
        Col("value_milli", Holds.WHOLE),
        Col("hold_s", Holds.MAYBE_WHOLE),
        Col("within_s", Holds.MAYBE_WHOLE),
        Col("in_force", Holds.FLAG),
        Col("effective_from", Holds.MOMENT),
        Col("source", Holds.TEXT),
        Col("reason", Holds.TEXT),
        Col("entered_at", Holds.MOMENT),
        Col("entered_by", Holds.TEXT),
    ),
    _limits,
)


def _signatures(scope: RecordScope) -> Iterator[tuple]:
    for case in cases_here(scope):
        for each in case.signatures:
            yield each.case, each.signed_name, each.meaning, each.readings, each.counts, each.note, each.recorded_at


SIGNATURES = DataTable(
    "signatures",
    "Signatures under cases of quarantine with readings at the site.",
    (
        Col("case", Holds.TEXT),
        Col("signed_by", Holds.TEXT),
        Col("meaning", Holds.TEXT),
        Col("readings", Holds.WHOLE),
        Col("counts", Holds.ANYTHING),
        Col("note", Holds.TEXT),
        Col("signed_at", Holds.MOMENT),
    ),
    _signatures,
)


def _not_in_time(scope: RecordScope) -> Iterator[tuple]:
    for told in tell(exceptions(scope)):
        done_at = told.check.checked_at if told.check else told.reading.taken_at if told.reading else None
        yield told.reminder.due_at, str(told.title), told.reminder.because, what_became(told), done_at


NOT_IN_TIME = DataTable(
    "not_in_time",
    "Checks and readings that fell due in the period and were not done, or not in time.",
    (
        Col("due_at", Holds.MOMENT),
        Col("what", Holds.TEXT),
        Col("because", Holds.TEXT),
        Col("became", Holds.TEXT),
        Col("done_at", Holds.MAYBE_MOMENT),
    ),
    _not_in_time,
)


def _trail(scope: RecordScope) -> Iterator[tuple]:
    for each in entries_of(scope).iterator(chunk_size=1000):
        yield (
            each.number,
            each.at,
            each.actor,
            each.action,
            act_of(each),
            record_of(each),
            each.reason,
            each.hash or None,
        )


TRAIL = DataTable(
    "trail",
    "Who did what in the period: every entry of the site and of its business as a whole, the work of each day too.",
    (
        Col(
            "number",
            Holds.MAYBE_WHOLE,
            "Its place in the chain of the business; null where it is older than the chain.",
        ),
        Col("at", Holds.MOMENT),
        Col("who", Holds.TEXT),
        Col("action", Holds.TEXT),
        Col("what", Holds.TEXT),
        Col("record", Holds.TEXT),
        Col("why", Holds.TEXT),
        Col("hash", Holds.MAYBE_TEXT),
    ),
    _trail,
)
