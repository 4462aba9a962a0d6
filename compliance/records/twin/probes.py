"""The probes of the period: their checks with every number typed and the whole budget, and what happened to them."""

from collections.abc import Iterator
from functools import partial

from django.db.models import QuerySet

from compliance.checks.models import Check, TimedReading

from ..check_history import checks_in, plans_of
from ..scope import RecordScope
from ..sections.days import away_from_here
from ..sections.events import events_here
from ..sections.intervals import accepted_here
from ..sections.probes import spans_here, state_at_printing
from ..statements import asked
from .table import ENTERED, PHONE, STRUCK, Col, DataTable, Holds, code, entered, struck, who


@asked
def checks_here(scope: RecordScope) -> QuerySet[Check]:
    """Those of the period, and the good ones that bracket its readings are among the spans of the printed record."""
    return checks_in(scope).select_related("probe", "site", "void").order_by("checked_at", "pk")


def _checks(scope: RecordScope) -> Iterator[tuple]:
    for check in checks_here(scope):
        yield (
            code("C", check.pk),
            check.probe_then.code,
            check.site_then.name,
            check.kind,
            check.procedure_version,
            check.stage,
            check.checked_at,
            who(scope, check, "checked_by"),
            *entered(scope, check),
            check.phone,
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
            check.figures,
            check.typing,
            check.note,
            *struck(check, partial(code, "C"), scope),
        )


CHECKS = DataTable(
    "checks",
    "Every check of these probes in the period, wherever it was made. Figures in thousandths of a degree Celsius.",
    (
        Col("number", Holds.TEXT),
        Col("probe", Holds.TEXT),
        Col("site", Holds.TEXT),
        Col("kind", Holds.TEXT),
        Col("procedure_version", Holds.MAYBE_WHOLE, "Of its kind, when it was first entered; null: not recorded."),
        Col("stage", Holds.TEXT),
        Col("checked_at", Holds.MOMENT),
        Col("checked_by", Holds.TEXT),
        *ENTERED,
        PHONE,
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
        Col("why", Holds.TEXTS, "The verdict in sentences."),
        Col("figures", Holds.TEXTS),
        Col("typing", Holds.ANYTHING, "Of the numbers typed: those that were taken back, and what somebody answered."),
        Col("note", Holds.TEXT),
        *STRUCK,
    ),
    _checks,
)


def _timed(scope: RecordScope) -> Iterator[tuple]:
    return ((code("C", check), *told) for check, *told in _numbers(scope))


@asked
def _numbers(scope: RecordScope) -> QuerySet[TimedReading]:
    rows = TimedReading.objects.filter(check_record__in=checks_in(scope)).order_by("check_record", "elapsed_ms", "pk")
    return rows.values_list("check_record_id", "elapsed_ms", "typed", "unit", "value_milli")


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
    for event in events_here(scope):
        yield (
            code("E", event.pk),
            event.probe_then.code,
            event.kind,
            event.at,
            event.note,
            *entered(scope, event),
            *struck(event, partial(code, "E"), scope),
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
        *ENTERED,
        *STRUCK,
    ),
    _events,
)


def _probes(scope: RecordScope) -> Iterator[tuple]:
    spans, plans = spans_here(scope), plans_of(scope)
    for here in scope.probes:
        probe, plan, cut = here.probe, plans.in_force(here.probe), spans.get(here.probe.pk)
        yield (
            probe.code,
            probe.description,
            probe.sensor,
            probe.maker,
            probe.model,
            probe.serial,
            probe.resolution_milli,
            probe.lowest_milli,
            probe.highest_milli,
            probe.tolerance_milli,
            f"{plan.plan.told} ({plan.source})",
            code("C", cut and cut[0].behind_id),
            code("C", cut and cut[-1].ahead_id),
            state_at_printing(probe, scope),
        )


PROBES = DataTable(
    "probes",
    "Every probe that was placed, read or checked at the site in the period, as it was at the end of it.",
    (
        Col("code", Holds.TEXT),
        Col("description", Holds.TEXT),
        Col("sensor", Holds.TEXT),
        Col("maker", Holds.TEXT),
        Col("model", Holds.TEXT),
        Col("serial", Holds.TEXT),
        Col("resolution_milli", Holds.WHOLE),
        Col("lowest_milli", Holds.WHOLE),
        Col("highest_milli", Holds.WHOLE),
        Col("tolerance_milli", Holds.WHOLE),
        Col("checked", Holds.TEXT, "The plan of checks, and where it comes from."),
        Col("check_before", Holds.MAYBE_TEXT, "The check that speaks for the beginning of the period."),
        Col("check_after", Holds.MAYBE_TEXT, "The one that speaks for its end."),
        Col("when_this_was_made", Holds.TEXT),
    ),
    _probes,
)


def _placements(scope: RecordScope) -> Iterator[tuple]:
    for here in scope.probes:
        for stay in here.stays:
            yield here.probe.code, stay.site, stay.start, stay.end, stay.reason, *entered(scope, stay.move)


PLACEMENTS = DataTable(
    "placements",
    "Where these probes were in the period.",
    (
        Col("probe", Holds.TEXT),
        Col("site", Holds.TEXT),
        Col("from", Holds.MOMENT),
        Col("until", Holds.MAYBE_MOMENT, "null: not moved since."),
        Col("reason", Holds.TEXT),
        *ENTERED,
    ),
    _placements,
)


def _away(scope: RecordScope) -> Iterator[tuple]:
    for each in away_from_here(scope):
        code, *_, why, _ = each.row.cells
        yield code, each.start, each.end, why, each.used, *entered(scope, each.fact)


AWAY = DataTable(
    "probes_not_in_use",
    "When one of these probes was withdrawn, or at another site.",
    (
        Col("probe", Holds.TEXT),
        Col("from", Holds.MOMENT),
        Col("until", Holds.MAYBE_MOMENT, "null: not yet back."),
        Col("why", Holds.TEXT),
        Col("contradicted_by", Holds.TEXTS, "Readings and checks that were made with it here in that time."),
        *ENTERED,
    ),
    _away,
)


def _intervals(scope: RecordScope) -> Iterator[tuple]:
    for each in accepted_here(scope):
        days = each.days_before, each.days_advised, each.days_accepted
        told = each.probe.particulars_at(each.recorded_at).code, *days, each.target, each.why
        yield *told, *entered(scope, each)


INTERVALS = DataTable(
    "intervals",
    "Days between checks of a probe that were set after advice in the period.",
    (
        Col("probe", Holds.TEXT),
        Col("days_before", Holds.WHOLE),
        Col("days_advised", Holds.WHOLE),
        Col("days_accepted", Holds.WHOLE),
        Col("target", Holds.WHOLE, "Of 100 checks, how many are to find it in tolerance."),
        Col("why", Holds.TEXT, "Where it differs from the advice."),
        *ENTERED,
    ),
    _intervals,
)
