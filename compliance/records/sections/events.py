"""What happened to the probes in the period."""

from collections.abc import Iterator

from django.db.models import QuerySet

from compliance.checks.queries import event_entered_late
from compliance.probes.models import Event
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import moment

from ..formatting import entered_beside, struck_by
from ..scope import RecordScope
from ..statements import asked

COLUMNS = [
    Column("When", points=72),
    Column("No.", points=30, named=True),
    Column("Probe", points=50),
    Column("What happened", share=1),
    Column("Note", share=2),
    Column("By", points=24),
]


def write(writer: Writer, scope: RecordScope) -> None:
    empty = "It is not recorded that a probe was adjusted, repaired, dropped, doubted, withdrawn, gone or returned."
    rows = (_row(event, scope) for event in events_here(scope))
    writer.listing(COLUMNS, rows, empty=empty, heading="Events of probes")


@asked
def events_here(scope: RecordScope) -> QuerySet[Event]:
    happened = Event.objects.filter(probe__in=scope.probe_keys, **scope.within("at"))
    return happened.select_related("probe", "void", "corrects").order_by("at", "pk")


def _row(event: Event, scope: RecordScope) -> Row:
    what = event.get_kind_display().capitalize()
    by = scope.people.initials_of(event)
    cells = (moment(event.at, scope.zone), f"E{event.pk}", event.probe_then.code, what, event.note, by)
    return Row(cells, void=hasattr(event, "void"), note=" ".join(filter(None, _notes(event, scope))))


def _notes(event: Event, scope: RecordScope) -> Iterator[str]:
    void, corrects = getattr(event, "void", None), getattr(event, "corrects", None)
    if corrects:
        yield f"Corrects E{corrects.voids_id}."
    yield entered_beside(event, event.at, scope, late=event_entered_late(event))
    if void:
        yield struck_by(void, scope)
        yield f"In its place: E{void.replacement_id}." if void.replacement_id else "Nothing stands in its place."
