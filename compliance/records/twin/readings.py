"""Every reading of the period, void and corrected ones too, and what was done where one did not meet its limit."""

from collections.abc import Iterator

from django.db.models import F, OuterRef, Subquery

from compliance.appliances.models import Appliance
from compliance.limits.models import LimitVersion
from compliance.limits.wording import demand
from compliance.quarantine.models import Decision
from compliance.readings.models import CorrectiveAction, Reading

from ..scope import RecordScope
from .table import Col, DataTable, Holds

CHUNK = 2000
FIELDS = (
    "pk",
    "item",
    "limit_version_id",
    "typed",
    "unit",
    "value_milli",
    "hold_s",
    "since_start_s",
    "taken_at",
    "taken_by_id",
    "recorded_at",
    "recorded_by_id",
    "probe_id",
    "appliance_id",
    "deviation__pk",
    "deviation__why",
    "standing",
    "decision",
    "fitness",
    "used_despite",
    "note",
    "source_id",
    "corrects__voids_id",
    "void__reason",
    "void__recorded_at",
    "void__recorded_by_id",
    "void__replacement_id",
)


def code(letter: str, pk: int | None) -> str | None:
    return f"{letter}{pk}" if pk else None


def _readings(scope: RecordScope) -> Iterator[tuple]:
    last = Decision.objects.current().filter(reading=OuterRef("pk")).values("fate")[:1]
    rows = scope.judged().annotate(decision=Subquery(last)).values_list(*FIELDS)
    versions = LimitVersion.objects.filter(pk__in=scope.readings().order_by().values("limit_version"))
    limits = {each.pk: (each.limit.code, each.limit.title, demand(each)) for each in versions.select_related("limit")}
    probes = {here.probe.pk: here.probe for here in scope.probes}
    appliances, people = Appliance.objects.filter(site=scope.site.pk).in_bulk(), scope.people
    for row in rows.iterator(chunk_size=CHUNK):
        pk, item, version, *measured, at, by, entered_at, entered_by, probe, appliance, deviation, why, standing = row[
            :17
        ]
        decision, fitness, despite, note, file, corrects, struck, struck_at, struck_by, new = row[17:]
        yield (
            code("R", pk),
            item,
            *limits[version],
            *measured,
            at,
            str(people.name(by, entered_at)),
            entered_at,
            str(people.name(entered_by, entered_at)),
            probes[probe].particulars_at(at).code,
            appliances[appliance].named_at(at).name if appliance else None,
            deviation is None,
            code("D", deviation),
            why,
            standing,
            decision,
            fitness,
            despite,
            note,
            bool(file),
            code("R", corrects),
            struck is not None,
            struck,
            struck_at,
            str(people.name(struck_by, struck_at)) if struck_by else None,
            code("R", new),
        )


STRUCK = (
    Col("void", Holds.FLAG, "Whether it was struck out; it counts no longer, and stays readable."),
    Col("struck_why", Holds.MAYBE_TEXT),
    Col("struck_at", Holds.MAYBE_MOMENT),
    Col("struck_by", Holds.MAYBE_TEXT),
    Col("replaced_by", Holds.MAYBE_TEXT, "The number of the entry in its place."),
)
READINGS = DataTable(
    "readings",
    "Every reading of the period, in the order in which they were taken.",
    (
        Col("number", Holds.TEXT),
        Col("item", Holds.TEXT, "Food or unit."),
        Col("limit_code", Holds.TEXT),
        Col("limit", Holds.TEXT),
        Col("limit_demands", Holds.TEXT),
        Col("typed", Holds.TEXT, "The value as it was typed, in its unit."),
        Col("unit", Holds.TEXT),
        Col("value_milli", Holds.WHOLE, "In thousandths of a degree Celsius."),
        Col("hold_s", Holds.MAYBE_WHOLE, "For how long it was held, in seconds; null: not recorded."),
        Col("since_start_s", Holds.MAYBE_WHOLE),
        Col("taken_at", Holds.MOMENT),
        Col("taken_by", Holds.TEXT),
        Col("entered_at", Holds.MOMENT),
        Col("entered_by", Holds.TEXT),
        Col("probe", Holds.TEXT),
        Col("appliance", Holds.MAYBE_TEXT),
        Col("limit_met", Holds.FLAG, "By the figure alone; what the figure is worth is said by its standing."),
        Col("deviation", Holds.MAYBE_TEXT),
        Col("limit_not_met_because", Holds.MAYBE_TEXT),
        Col("standing", Holds.TEXT, "proven, pending, quarantined or unproven, when this was made."),
        Col("last_decision", Holds.MAYBE_TEXT, "The last one made on it; whether it still holds is said by its case."),
        Col("fitness", Holds.TEXT, "The probe when this was entered."),
        Col("used_despite", Holds.TEXT),
        Col("note", Holds.TEXT),
        Col("from_file", Holds.FLAG),
        Col("corrects", Holds.MAYBE_TEXT),
        *STRUCK,
    ),
    _readings,
)


def _acts(scope: RecordScope) -> Iterator[tuple]:
    acts = CorrectiveAction.objects.filter(
        deviation__reading__in=Reading.objects.filter(site=scope.site, **scope.within("taken_at")).order_by(),
        recorded_at__lte=scope.now,
    )
    for act in acts.annotate(read=F("deviation__reading_id")).select_related("replaced_by").order_by("pk").iterator():
        yield (
            code("D", act.deviation_id),
            code("R", act.read),
            act.action,
            act.cause,
            act.disposition,
            act.note,
            act.done_at,
            str(scope.people.name(act.decided_by_id, act.recorded_at)),
            act.recorded_at,
            str(scope.people.name(act.recorded_by_id, act.recorded_at)),
            hasattr(act, "replaced_by"),
        )


ACTS = DataTable(
    "corrective_actions",
    "What was done about the deviations of these readings; one that was replaced stays.",
    (
        Col("deviation", Holds.TEXT),
        Col("reading", Holds.TEXT),
        Col("action", Holds.TEXT),
        Col("cause", Holds.TEXT),
        Col("disposition", Holds.TEXT),
        Col("note", Holds.TEXT),
        Col("done_at", Holds.MOMENT),
        Col("decided_by", Holds.TEXT),
        Col("entered_at", Holds.MOMENT),
        Col("entered_by", Holds.TEXT),
        Col("replaced", Holds.FLAG),
    ),
    _acts,
)


def _decisions(scope: RecordScope) -> Iterator[tuple]:
    made = Decision.objects.filter(reading__in=scope.readings().order_by(), recorded_at__lte=scope.now).select_related(
        "replaced_by"
    )
    for each in made.order_by("pk").iterator(chunk_size=CHUNK):
        yield (
            code("R", each.reading_id),
            each.case,
            each.fate,
            each.outcome,
            each.why,
            each.risk,
            each.told,
            each.evidence,
            code("R", each.good_reading_id),
            str(scope.people.name(each.decided_by_id, each.recorded_at)),
            each.recorded_at,
            str(scope.people.name(each.recorded_by_id, each.recorded_at)),
            hasattr(each, "replaced_by"),
        )


DECISIONS = DataTable(
    "decisions",
    "What people decided on these readings in quarantine; a decision that was replaced stays.",
    (
        Col("reading", Holds.TEXT),
        Col("case", Holds.TEXT, "What began it: check:12 or event:5."),
        Col("decision", Holds.TEXT),
        Col("outcome", Holds.TEXT, "What could be said of the reading when it was decided."),
        Col("why", Holds.TEXT),
        Col("risk", Holds.TEXT),
        Col("told", Holds.TEXT),
        Col("evidence", Holds.TEXT),
        Col("measured_again", Holds.MAYBE_TEXT),
        Col("decided_by", Holds.TEXT),
        Col("entered_at", Holds.MOMENT),
        Col("entered_by", Holds.TEXT),
        Col("replaced", Holds.FLAG),
    ),
    _decisions,
)
