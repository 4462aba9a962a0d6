"""Every reading of the period, void and corrected ones too, and what was done where one did not meet its limit."""

from collections.abc import Iterator

from django.db.models import F, OuterRef, QuerySet, Subquery

from compliance.appliances.models import Appliance
from compliance.limits.wording import demand
from compliance.quarantine.models import Decision
from compliance.readings.models import CorrectiveAction, Reading

from ..scope import RecordScope
from ..sections.deviations import deviations_here
from ..sections.files import files_of
from ..sections.readings import limits_used
from ..statements import asked
from ..summary_counts import deviations_of
from .table import ENTERED, PHONE, STRUCK, Col, DataTable, Holds, code, entered, key, who

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
    "phone",
    "corrects__voids_id",
    "void__reason",
    "void__recorded_at",
    "void__recorded_by_id",
    "void__replacement_id",
)


def _readings(scope: RecordScope) -> Iterator[tuple]:
    limits = {each.pk: (each.limit.code, each.limit.title, demand(each)) for each in limits_used(scope)}
    probes = {here.probe.pk: here.probe for here in scope.probes}
    appliances, people = Appliance.objects.filter(site=scope.site.pk).in_bulk(), scope.people
    for row in _judged(scope):
        pk, item, version, *measured, at, by, entered_at, entered_by, probe, appliance, deviation, why, standing = row[
            :17
        ]
        decision, fitness, despite, note, file, phone, corrects, struck, struck_at, struck_by, new = row[17:]
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
            key("import", file),
            phone,
            code("R", corrects),
            struck is not None,
            struck,
            struck_at,
            str(people.name(struck_by, struck_at)) if struck_by else None,
            code("R", new),
        )


@asked
def _judged(scope: RecordScope) -> QuerySet[Reading]:
    last = Decision.objects.current().filter(reading=OuterRef("pk")).values("fate")[:1]
    return scope.judged().annotate(decision=Subquery(last)).values_list(*FIELDS)


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
        *ENTERED,
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
        Col("file", Holds.MAYBE_TEXT, "The import that it came in with."),
        PHONE,
        Col("corrects", Holds.MAYBE_TEXT),
        *STRUCK,
    ),
    _readings,
)


def _deviations(scope: RecordScope) -> Iterator[tuple]:
    for each in deviations_here(scope):
        reading = each.reading
        yield (
            code("D", each.pk),
            code("R", reading.pk),
            reading.taken_at,
            reading.item,
            reading.limit_version.limit.title,
            demand(reading.limit_version),
            reading.typed,
            reading.unit,
            reading.probe_then.code,
            each.why,
            "void" if hasattr(reading, "void") else "closed" if each.acted else "open",
            *entered(scope, each),
        )


DEVIATIONS = DataTable(
    "deviations",
    "Readings of the period that did not meet their limit, and older ones that something was done about in it.",
    (
        Col("number", Holds.TEXT),
        Col("reading", Holds.TEXT),
        Col("taken_at", Holds.MOMENT),
        Col("item", Holds.TEXT),
        Col("limit", Holds.TEXT),
        Col("limit_demands", Holds.TEXT),
        Col("typed", Holds.TEXT),
        Col("unit", Holds.TEXT),
        Col("probe", Holds.TEXT),
        Col("why", Holds.TEXT),
        Col("state", Holds.TEXT, "void, closed or open: until it is recorded what was done."),
        *ENTERED,
    ),
    _deviations,
)


def _acts(scope: RecordScope) -> Iterator[tuple]:
    for act in _actions(scope):
        yield (
            key("action", act.pk),
            code("D", act.deviation_id),
            code("R", act.read),
            act.action,
            act.cause,
            act.disposition,
            act.note,
            act.done_at,
            who(scope, act, "decided_by"),
            *entered(scope, act),
            key("action", _replaced_by(act)),
        )


@asked
def _actions(scope: RecordScope) -> QuerySet[CorrectiveAction]:
    known = deviations_of(scope).order_by().values("pk")
    acts = CorrectiveAction.objects.filter(deviation__in=known, recorded_at__lte=scope.now)
    return acts.annotate(read=F("deviation__reading_id")).select_related("replaced_by").order_by("pk")


def _replaced_by(fact) -> int | None:
    return fact.replaced_by.pk if hasattr(fact, "replaced_by") else None


ACTS = DataTable(
    "corrective_actions",
    "What was done about these deviations; one that was replaced stays.",
    (
        Col("number", Holds.TEXT),
        Col("deviation", Holds.TEXT),
        Col("reading", Holds.TEXT),
        Col("action", Holds.TEXT),
        Col("cause", Holds.TEXT),
        Col("disposition", Holds.TEXT),
        Col("note", Holds.TEXT),
        Col("done_at", Holds.MOMENT),
        Col("decided_by", Holds.TEXT),
        *ENTERED,
        Col("replaced_by", Holds.MAYBE_TEXT),
    ),
    _acts,
)


def _imports(scope: RecordScope) -> Iterator[tuple]:
    for each in files_of(scope):
        yield (
            key("import", each.pk),
            each.file_name,
            each.digest,
            key("import", each.part_of_id),
            each.rest_after,
            each.rows,
            each.added,
            each.known,
            each.refused_count,
            each.refused,
            each.doubts,
            len(each.sites),
            *entered(scope, each),
        )


IMPORTS = DataTable(
    "imports",
    "Files of readings that were brought in during the period, and those that readings of it came from.",
    (
        Col("number", Holds.TEXT),
        Col("file", Holds.TEXT),
        Col("sha256", Holds.TEXT, "Of the whole file."),
        Col("part_of", Holds.MAYBE_TEXT, "The first piece of a long file that came in pieces."),
        Col("rest_after_line", Holds.MAYBE_WHOLE, "Of a piece: the line after which the rest was to come."),
        Col("rows", Holds.WHOLE),
        Col("added", Holds.WHOLE),
        Col("already_there", Holds.WHOLE),
        Col("refused", Holds.WHOLE),
        Col("refused_rows", Holds.LINES, "Line and reason of each, the first thousands of them."),
        Col("doubtful_rows", Holds.LINES, "Accepted, but worth a look."),
        Col("sites", Holds.WHOLE, "To how many sites its rows belong; the counts are of them all."),
        *ENTERED,
    ),
    _imports,
)
