"""The probes of the period: their checks with every number typed and the whole budget, and what happened to them."""

from collections.abc import Iterator

from compliance.checks.models import Check, TimedReading
from compliance.probes.models import Event

from ..scope import RecordScope
from .readings import STRUCK, code
from .table import Col, DataTable, Holds


def _of_probes(scope: RecordScope) -> list[int]:
    return [here.probe.pk for here in scope.probes]


def _struck(fact, letter: str, scope: RecordScope) -> tuple:
    void = getattr(fact, "void", None)
    if void is None:
        return False, None, None, None, None
    by = str(scope.people.name(void.recorded_by_id, void.recorded_at))
    return True, void.reason, void.recorded_at, by, code(letter, void.replacement_id)


def checks_here(scope: RecordScope):
    """Those of the period, and the good ones that bracket its readings are among the spans of the printed record."""
    made = Check.objects.filter(probe__in=_of_probes(scope), **scope.within("checked_at"))
    return made.select_related("probe", "site", "void").order_by("checked_at", "pk")


def _checks(scope: RecordScope) -> Iterator[tuple]:
    for check in checks_here(scope).iterator(chunk_size=500):
        yield (
            code("C", check.pk),
            check.probe_then.code,
            check.site_then.name,
            check.kind,
            check.stage,
            check.checked_at,
            str(scope.people.name(check.checked_by_id, check.recorded_at)),
            check.recorded_at,
            str(scope.people.name(check.recorded_by_id, check.recorded_at)),
            check.verdict,
            check.reading_milli,
            check.reference_milli,
            check.error_milli,
            check.expanded_milli,
            check.tolerance_milli,
            check.decision_rule,
            check.no_figure,
            check.laboratory,
            check.certificate_number,
            check.immersion_mm,
            check.preparation,
            check.surroundings,
            check.budget,
            check.why,
            check.note,
            *_struck(check, "C", scope),
        )


CHECKS = DataTable(
    "checks",
    "Every check of these probes in the period, wherever it was made. Figures in thousandths of a degree Celsius.",
    (
        Col("number", Holds.TEXT),
        Col("probe", Holds.TEXT),
        Col("site", Holds.TEXT),
        Col("kind", Holds.TEXT),
        Col("stage", Holds.TEXT),
        Col("checked_at", Holds.MOMENT),
        Col("checked_by", Holds.TEXT),
        Col("entered_at", Holds.MOMENT),
        Col("entered_by", Holds.TEXT),
        Col("verdict", Holds.TEXT),
        Col("reading_milli", Holds.MAYBE_WHOLE, "What it showed once it had settled."),
        Col("reference_milli", Holds.WHOLE),
        Col("error_milli", Holds.MAYBE_WHOLE),
        Col("expanded_milli", Holds.MAYBE_WHOLE, "Expanded uncertainty of the error, 95 % confidence."),
        Col("tolerance_milli", Holds.WHOLE),
        Col("decision_rule", Holds.TEXT),
        Col("no_figure", Holds.TEXT, "What it showed in place of a number; empty where it showed one."),
        Col("laboratory", Holds.TEXT),
        Col("certificate_number", Holds.TEXT),
        Col("immersion_mm", Holds.MAYBE_NUMBER),
        Col("bath", Holds.ANYTHING, "The bath or pan as it was prepared, point by point."),
        Col("surroundings", Holds.ANYTHING),
        Col("budget", Holds.ANYTHING, "Where its uncertainty comes from, part by part."),
        Col("why", Holds.ANYTHING, "The verdict in sentences."),
        Col("note", Holds.TEXT),
        *STRUCK,
    ),
    _checks,
)


def _timed(scope: RecordScope) -> Iterator[tuple]:
    rows = TimedReading.objects.filter(check_record__in=checks_here(scope).order_by())
    rows = rows.order_by("check_record", "elapsed_ms", "pk")
    for check, *told in rows.values_list("check_record_id", "elapsed_ms", "typed", "unit", "value_milli").iterator():
        yield code("C", check), *told


TIMED = DataTable(
    "check_readings",
    "What the display showed during each of these checks.",
    (
        Col("check", Holds.TEXT),
        Col("elapsed_ms", Holds.WHOLE, "Since the probe went in."),
        Col("typed", Holds.TEXT),
        Col("unit", Holds.TEXT),
        Col("value_milli", Holds.WHOLE),
    ),
    _timed,
)


def _events(scope: RecordScope) -> Iterator[tuple]:
    events = Event.objects.filter(probe__in=_of_probes(scope), **scope.within("at"))
    for event in events.select_related("probe", "void").order_by("at", "pk"):
        yield (
            code("E", event.pk),
            event.probe_then.code,
            event.kind,
            event.at,
            event.note,
            event.recorded_at,
            str(scope.people.name(event.recorded_by_id, event.recorded_at)),
            *_struck(event, "E", scope),
        )


EVENTS = DataTable(
    "events",
    "What happened to these probes in the period.",
    (
        Col("number", Holds.TEXT),
        Col("probe", Holds.TEXT),
        Col("kind", Holds.TEXT),
        Col("at", Holds.MOMENT),
        Col("note", Holds.TEXT),
        Col("entered_at", Holds.MOMENT),
        Col("entered_by", Holds.TEXT),
        *STRUCK,
    ),
    _events,
)
