"""What held at the site: its limits, what was set anew for it, what was struck out, names, and the trail of changes."""

from collections.abc import Iterator

from django.db.models import QuerySet

from compliance.limits.models import LimitVersion
from compliance.limits.wording import demand

from ..scope import RecordScope
from ..sections.annex import entries_of
from ..sections.changes import changes_here
from ..sections.corrections import excuses_struck_out, struck_out_here
from ..sections.plan import source_of
from ..statements import asked
from ..trail_words import act_of, record_of
from .table import ENTERED, Col, DataTable, Holds, entered, who


def _limits(scope: RecordScope) -> Iterator[tuple]:
    for each in _versions(scope):
        yield (
            each.limit.code,
            each.limit.title,
            each.limit.step,
            each.limit.hazard,
            demand(each) if each.in_force else None,
            each.value_milli,
            each.hold_s,
            each.within_s,
            each.target_milli,
            each.usual_action,
            each.in_force,
            each.effective_from,
            source_of(each),
            each.origin,
            each.reason,
            *entered(scope, each),
        )


@asked
def _versions(scope: RecordScope) -> QuerySet[LimitVersion]:
    known = LimitVersion.objects.filter(limit__site=scope.site, recorded_at__lte=scope.now)
    begun = known.filter(effective_from__lt=scope.end).select_related("limit__rule")
    return begun.order_by("limit__code", "effective_from", "pk")


LIMITS = DataTable(
    "limits",
    "Every version of a limit of the site that began before the end of the period; the last that had begun counts.",
    (
        Col("code", Holds.TEXT),
        Col("title", Holds.TEXT),
        Col("step", Holds.TEXT),
        Col("hazard", Holds.TEXT),
        Col("demands", Holds.MAYBE_TEXT),
        Col("value_milli", Holds.WHOLE),
        Col("hold_s", Holds.MAYBE_WHOLE),
        Col("within_s", Holds.MAYBE_WHOLE),
        Col("target_milli", Holds.MAYBE_WHOLE, "Inside the limit."),
        Col("usual_action", Holds.TEXT),
        Col("in_force", Holds.FLAG),
        Col("effective_from", Holds.MOMENT),
        Col("source", Holds.TEXT),
        Col(
            "origin",
            Holds.TEXT,
            "seen; memory: to be checked with the authority; practice: common practice, no source.",
        ),
        Col("reason", Holds.TEXT),
        *ENTERED,
    ),
    _limits,
)


def _struck_out(scope: RecordScope) -> Iterator[tuple]:
    for letter, void in struck_out_here(scope):
        new = void.replacement_id
        yield f"{letter}{void.voids_id}", f"{letter}{new}" if new else None, void.reason, *entered(scope, void)
    for void in excuses_struck_out(scope):
        yield f"excuse:{void.voids_id}", None, void.reason, *entered(scope, void)


STRUCK_OUT = DataTable(
    "struck_out",
    "Readings, checks, events and excuses of the period that were struck out, and older ones that were struck out in it.",
    (
        Col("number", Holds.TEXT),
        Col("replaced_by", Holds.MAYBE_TEXT),
        Col("why", Holds.TEXT),
        *ENTERED,
    ),
    _struck_out,
)


def _changes(scope: RecordScope) -> Iterator[tuple]:
    for of, change, told in changes_here(scope):
        yield of, *map(str, told), change.fact.corrects, change.since, change.fact.reason, *entered(scope, change.fact)


CHANGES = DataTable(
    "changes",
    "What was set anew in the period for the business, the site, its probes and appliances, and what was corrected of it later.",
    (
        Col("of", Holds.TEXT),
        Col("what", Holds.TEXT),
        Col("was", Holds.TEXT),
        Col("is", Holds.TEXT),
        Col("correction", Holds.FLAG),
        Col("since", Holds.MAYBE_MOMENT, "From when on it holds; null: from the start."),
        Col("why", Holds.TEXT),
        *ENTERED,
    ),
    _changes,
)


def _names(scope: RecordScope) -> Iterator[tuple]:
    for change in scope.people.changes(scope.start, scope.now, of=scope.people.told):
        former, name = change.former_name, change.name
        yield (
            change.recorded_at,
            former,
            change.former_initials,
            name,
            change.initials,
            who(scope, change),
            change.reason,
        )


NAMES = DataTable(
    "names",
    "Who of the people named above got another name since the period began.",
    (
        Col("entered_at", Holds.MOMENT),
        Col("was", Holds.TEXT),
        Col("initials_were", Holds.TEXT),
        Col("is", Holds.TEXT),
        Col("initials_are", Holds.TEXT),
        Col("entered_by", Holds.MAYBE_TEXT, "null: who runs Noughtbook."),
        Col("why", Holds.TEXT),
    ),
    _names,
)


def _trail(scope: RecordScope) -> Iterator[tuple]:
    for each in entries_of(scope):
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
