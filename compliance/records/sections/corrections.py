"""Entries that were struck out: what they said, what stands in their place, who, when and why."""

from collections.abc import Iterator

from django.db.models import Q, QuerySet

from compliance.checks.models import Check, CheckVoid
from compliance.probes.models import Event, EventVoid
from compliance.readings.models import Reading, ReadingVoid
from compliance.reminders.models import Excuse, ExcuseVoid
from shared.append_only import Void
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import moment

from ..formatting import error, reading_value
from ..scope import RecordScope
from ..statements import asked

COLUMNS = [
    Column("Struck out", points=92),
    Column("It said", share=1.2, links=True),
    Column("In its place", share=1.2, links=True),
    Column("Why", share=1.2),
    Column("By", points=24),
]
NOTHING = "nothing"


def write(writer: Writer, scope: RecordScope) -> None:
    if writer.listing(COLUMNS, _rows(scope), empty="Nothing was struck out.", heading="Corrections and voids"):
        writer.paragraph(
            "Entries of the period that were struck out, and older ones that were struck out in the period. Decisions and "
            "corrective actions that were replaced stand struck out in their own sections.",
            small=True,
        )


def _rows(scope: RecordScope) -> Iterator[Row]:
    told = {"R": _reading, "C": _check, "E": _event}
    for letter, void in struck_out_here(scope):
        old, new = (told[letter](each, scope) if each else NOTHING for each in (void.voids, void.replacement))
        at, by = moment(void.recorded_at, scope.zone), scope.people.initials_of(void)
        yield Row((at, old, new, void.reason, by))
    for void in excuses_struck_out(scope):
        at, by = moment(void.recorded_at, scope.zone), scope.people.initials_of(void)
        yield Row((at, _excuse(void.voids, scope), NOTHING, void.reason, by))


def struck_out_here(scope: RecordScope) -> Iterator[tuple[str, Void]]:
    """Each with the letter of the numbers of what it strikes out."""
    for letter, voids in (("R", _readings), ("C", _checks), ("E", _events)):
        yield from ((letter, void) for void in voids(scope))


@asked
def _readings(scope: RecordScope) -> QuerySet[ReadingVoid]:
    found = struck_out(ReadingVoid, scope, "taken_at").filter(voids__site=scope.site)
    return _related(found, "probe", "limit_version")


@asked
def _checks(scope: RecordScope) -> QuerySet[CheckVoid]:
    return _related(struck_out(CheckVoid, scope, "checked_at").filter(voids__probe__in=scope.probe_keys), "probe")


@asked
def _events(scope: RecordScope) -> QuerySet[EventVoid]:
    return _related(struck_out(EventVoid, scope, "at").filter(voids__probe__in=scope.probe_keys), "probe")


def _related(voids: QuerySet[Void], *besides: str) -> QuerySet[Void]:
    related = voids.select_related(*(f"{fact}__{name}" for fact in ("voids", "replacement") for name in besides))
    return related.order_by("recorded_at", "pk")


@asked
def excuses_struck_out(scope: RecordScope) -> QuerySet[ExcuseVoid]:
    found = struck_out(ExcuseVoid, scope, "reminder__due_at").filter(voids__reminder__site=scope.site)
    named = ("reminder__probe", "reminder__limit", "reminder__appliance")
    return found.select_related(*(f"voids__{name}" for name in named)).order_by("recorded_at", "pk")


def struck_out(model: type[Void], scope: RecordScope, time: str) -> QuerySet[Void]:
    """Voids of acts of the period, whose time is called `time`, and those made in the period."""
    acted = Q(**{f"voids__{time}__gte": scope.start, f"voids__{time}__lt": scope.end})
    struck = Q(recorded_at__gte=scope.start, recorded_at__lt=scope.end)
    return model.objects.filter(acted | struck, recorded_at__lte=scope.now)


def _reading(reading: Reading, scope: RecordScope) -> str:
    read = reading_value(reading)
    return f"R{reading.pk}: {reading.item}, {read}, {reading.probe_then.code}, {moment(reading.taken_at, scope.zone)}"


def _check(check: Check, scope: RecordScope) -> str:
    found = f"error {error(check, scope.site.unit)}, {check.get_verdict_display()}"
    return f"C{check.pk}: {check.probe_then.code}, {found}, {moment(check.checked_at, scope.zone)}"


def _excuse(excuse: Excuse, scope: RecordScope) -> str:
    due, said = excuse.reminder, f"{scope.people.initials_of(excuse)}, {moment(excuse.recorded_at, scope.zone)}"
    what = due.probe.particulars_at(due.due_at).code if due.probe else due.what_then
    return f"Excuse of what was due {moment(due.due_at, scope.zone)}, {what}: “{excuse.reason}” ({said})"


def _event(event: Event, scope: RecordScope) -> str:
    return f"E{event.pk}: {event.probe_then.code} {event.get_kind_display()}, {moment(event.at, scope.zone)}"
