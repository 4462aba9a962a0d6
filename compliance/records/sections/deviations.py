"""Readings that did not meet their limit, and what was done about each."""

from collections.abc import Iterator
from itertools import chain, islice

from django.db.models import Prefetch, QuerySet, prefetch_related_objects

from compliance.readings.models import CorrectiveAction, Deviation
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import moment

from ..formatting import limit_in_short, reading_value, sentence
from ..scope import RecordScope
from ..statements import asked
from ..summary_counts import count_deviations, deviations_of
from .summary import deviations_in_words, no_deviation

COLUMNS = [
    Column("No.", points=29.5, named=True),
    Column("Reading taken", points=72),
    Column("Food or unit", share=1),
    Column("Limit", share=1.15),
    Column("Reading", align="decimal", points=84, after=".0 °C for 1 min 30 s"),
    Column("Probe", points=36),
    Column("State", points=32),
]
CHUNK = 500


def write(writer: Writer, scope: RecordScope) -> None:
    writer.heading("Deviations and what was done")
    if count_deviations(scope).total:
        writer.lead(deviations_in_words(scope))
    rows = _rows(scope)
    first = next(rows, None)
    if first is None:
        writer.paragraph(no_deviation(scope))
        return
    writer.table(COLUMNS, chain([first], rows), dense=True)
    writer.paragraph(
        "A deviation stays open until it is recorded what was done, why it happened and what became of the food.",
        small=True,
    )


def _rows(scope: RecordScope) -> Iterator[Row]:
    actions = CorrectiveAction.objects.select_related("replaced_by").order_by("pk")
    done = Prefetch("actions", actions.filter(recorded_at__lte=scope.now), to_attr="done")
    found = deviations_here(scope)
    while some := list(islice(found, CHUNK)):
        prefetch_related_objects(some, done)
        for deviation in some:
            yield from _told(deviation, scope)


@asked
def deviations_here(scope: RecordScope) -> QuerySet[Deviation]:
    related = "reading__probe", "reading__limit_version__limit", "reading__void"
    return deviations_of(scope).select_related(*related).order_by("reading__taken_at", "pk")


def _told(deviation: Deviation, scope: RecordScope) -> Iterator[Row]:
    reading, version = deviation.reading, deviation.reading.limit_version
    void = hasattr(reading, "void")
    state = "void" if void else "closed" if deviation.acted else "open"
    cells = (
        f"D{deviation.pk}",
        moment(reading.taken_at, scope.zone),
        reading.item,
        limit_in_short(version),
        reading_value(reading),
        reading.probe_then.code,
        state,
    )
    why = f"R{reading.pk}: {sentence(deviation.why)}"
    if void:
        why += f" The reading is void: {sentence(reading.void.reason)}"
    yield Row(cells, void=void, strong=state == "open", note=why)
    for action in deviation.done:
        replaced = hasattr(action, "replaced_by")
        yield Row(void=replaced, note=_action(action, scope))
        if replaced:
            yield Row(note="The entry above was struck out; the one below stands in its place.")
    if not deviation.done and not void:
        yield Row(note="No action has been recorded.", strong=True)


def _action(action: CorrectiveAction, scope: RecordScope) -> str:
    who, at = scope.people.full_of(action, "decided_by"), moment(action.done_at, scope.zone)
    parts = [
        f"Done {at}, decided by {who}: {sentence(action.action)}",
        f"Cause: {sentence(action.cause)}",
        f"Food: {sentence(action.get_disposition_display())}",
    ]
    if action.note:
        parts.append(f"Risk, and who was told: {sentence(action.note)}")
    entered = f"Entered {moment(action.recorded_at, scope.zone)}"
    if action.recorded_by_id != action.decided_by_id:
        entered += f" by {scope.people.full_of(action)}"
    return " ".join([*parts, f"{entered}."])
