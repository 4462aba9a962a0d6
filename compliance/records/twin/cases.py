"""Cases of quarantine: their readings with what they could really have been, what people decided, and who signed."""

from collections.abc import Iterator

from django.db.models import Q, QuerySet

from compliance.quarantine.models import Decision

from ..case_rows import cases_here, held_rows
from ..scope import RecordScope
from ..sections.cases import CaseRows
from ..statements import asked
from .table import ENTERED, Col, DataTable, Holds, code, entered, key, who


def _cases(scope: RecordScope) -> Iterator[tuple]:
    for case in cases_here(scope):
        yield (
            case.anchor,
            case.probe.particulars_at(scope.reached).code,
            case.reasons,
            case.starts_at,
            case.ends_at,
            case.readings,
            case.undecided,
            case.state,
            [case.reopened.heading, *case.reopened.lines] if case.reopened else [],
        )


CASES = DataTable(
    "cases",
    "Cases of quarantine with readings at the site that overlap the period, or were decided on or signed in it.",
    (
        Col("case", Holds.TEXT, "What began it: check:12 or event:5."),
        Col("probe", Holds.TEXT),
        Col("why", Holds.TEXTS),
        Col("from", Holds.MAYBE_MOMENT, "null: before any good check."),
        Col("to", Holds.MAYBE_MOMENT, "null: no good check has been made since."),
        Col("readings", Holds.WHOLE, "At this site, whenever they were taken."),
        Col("undecided", Holds.WHOLE),
        Col("state", Holds.TEXT, "open, to_sign or signed, when this was made."),
        Col("asked_again", Holds.TEXTS, "Why it is open again."),
    ),
    _cases,
)


def _case_readings(scope: RecordScope) -> Iterator[tuple]:
    cases = cases_here(scope)
    told, anchors = CaseRows(scope, cases), [*(case.anchor for case in cases), None]
    for row in held_rows(scope, cases):
        truth = told.truth(row) or (None, None)
        yield (
            anchors[row.place],
            code("R", row.pk),
            *truth,
            told.outcome(row),
            key("decision", row.decision),
            told.lost(row),
        )


CASE_READINGS = DataTable(
    "case_readings",
    "The readings of these cases, one line for each decision on them; without a case: it is in quarantine no longer.",
    (
        Col("case", Holds.MAYBE_TEXT),
        Col("reading", Holds.TEXT),
        Col("lowest_milli", Holds.MAYBE_WHOLE, "What it could really have been; null: cannot be told."),
        Col("highest_milli", Holds.MAYBE_WHOLE),
        Col("the_limit", Holds.TEXT, "Whether it was held, by what it could really have been."),
        Col("decision", Holds.MAYBE_TEXT),
        Col("decide_again", Holds.TEXT, "Why the decision no longer holds; empty where it does."),
    ),
    _case_readings,
)


def _struck(scope: RecordScope) -> Iterator[tuple]:
    for case in cases_here(scope):
        for each in case.struck:
            new = code("R", each.void.replacement_id)
            told = case.anchor, code("R", each.reading.pk), each.became, new, each.void.reason
            yield *told, *entered(scope, each.void)


CASE_STRUCK = DataTable(
    "case_readings_struck_out",
    "Readings that were struck out of these cases, or corrected in them, and what became of each.",
    (
        Col("case", Holds.TEXT),
        Col("reading", Holds.TEXT),
        Col("became", Holds.TEXT),
        Col("replaced_by", Holds.MAYBE_TEXT),
        Col("why", Holds.TEXT),
        *ENTERED,
    ),
    _struck,
)


def _decisions(scope: RecordScope) -> Iterator[tuple]:
    for each in _made(scope):
        yield (
            key("decision", each.pk),
            code("R", each.reading_id),
            each.case,
            each.fate,
            each.outcome,
            each.why,
            each.risk,
            each.told,
            each.evidence,
            code("R", each.good_reading_id),
            each.good_standing,
            who(scope, each, "decided_by"),
            *entered(scope, each),
            key("decision", each.replaced_by.pk if hasattr(each, "replaced_by") else None),
        )


@asked
def _made(scope: RecordScope) -> QuerySet[Decision]:
    of_period = Q(reading__taken_at__gte=scope.start, reading__taken_at__lt=scope.end)
    made_then = Q(recorded_at__gte=scope.start, recorded_at__lt=scope.end)
    made = Decision.objects.filter(of_period | made_then, reading__site=scope.site, recorded_at__lte=scope.now)
    return made.filter(reading__recorded_at__lte=scope.now).select_related("replaced_by").order_by("pk")


DECISIONS = DataTable(
    "decisions",
    "What people decided on readings of the period, and in the period on older ones; a decision that was replaced stays.",
    (
        Col("number", Holds.TEXT),
        Col("reading", Holds.TEXT),
        Col("case", Holds.TEXT, "What began it: check:12 or event:5."),
        Col("decision", Holds.TEXT),
        Col("outcome", Holds.TEXT, "What could be said of the reading when it was decided."),
        Col("why", Holds.TEXT),
        Col("risk", Holds.TEXT),
        Col("told", Holds.TEXT),
        Col("evidence", Holds.TEXT),
        Col("measured_again", Holds.MAYBE_TEXT),
        Col("its_standing_then", Holds.MAYBE_TEXT),
        Col("decided_by", Holds.TEXT),
        *ENTERED,
        Col("replaced_by", Holds.MAYBE_TEXT),
    ),
    _decisions,
)


def _signatures(scope: RecordScope) -> Iterator[tuple]:
    for case in cases_here(scope):
        for each in case.signatures:
            last = each == case.signatures[-1]
            told = each.signed_name, each.meaning, each.readings, each.counts, each.note, last and case.signed
            yield each.case, *told, each.recorded_at, who(scope, each)


SIGNATURES = DataTable(
    "signatures",
    "Signatures under cases of quarantine with readings at the site.",
    (
        Col("case", Holds.TEXT),
        Col("signed_by", Holds.TEXT),
        Col("meaning", Holds.TEXT),
        Col("readings", Holds.WHOLE),
        Col("counts", Holds.COUNTS),
        Col("note", Holds.TEXT),
        Col("stands", Holds.FLAG),
        Col("signed_at", Holds.MOMENT),
        Col("entered_by", Holds.MAYBE_TEXT),
    ),
    _signatures,
)
