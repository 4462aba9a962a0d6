"""What was still undecided when the record was printed, and what was when the period ended."""

from collections.abc import Iterator
from datetime import datetime
from itertools import chain

from django.db.models import OuterRef, Q, QuerySet, Subquery

from compliance.checks.models import Standing
from compliance.quarantine.cases import begun
from compliance.readings.models import CorrectiveAction, Deviation
from shared.plurals import plural
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import moment, zoned_moment

from ..case_rows import cases_here
from ..check_history import late_and_overdue, newest_procedures
from ..formatting import reading_value
from ..scope import RecordScope
from ..statements import asked
from ..summary_counts import count_readings, deviations_of
from .probes import state_at_printing
from .summary import READINGS

COLUMNS = [
    Column("Open", points=84, links=True),
    Column("What is missing", share=1, links=True),
    Column("As of", points=78),
    Column("More", points=30, align="right", page=True),
]
PRINTING, END, BOTH = "printing", "end of the period", "both"


def write(writer: Writer, scope: RecordScope) -> None:
    writer.heading("Open points at printing")
    known = scope.was_read or newest_procedures(scope)
    empty = (
        f"Nothing was left open{'' if _running(scope) else ', neither at the end of the period nor at printing'}."
        if known
        else "Nothing was read and no check was made in this period, so nothing could be left open."
    )
    rows = _rows(scope)
    first = next(rows, None)
    if first is None:
        writer.paragraph(scope.none(empty))
        return
    writer.paragraph(_as_of(scope), small=True)
    writer.table(COLUMNS, chain([first], rows), dense=True)


def _running(scope: RecordScope) -> bool:
    """Whether the period was not over at printing."""
    return scope.now < scope.end


def _as_of(scope: RecordScope) -> str:
    printing = f"As of printing, {zoned_moment(scope.now, scope.zone)}"
    if _running(scope):
        return f"{printing}, when the period was not over."
    end = zoned_moment(scope.end, scope.zone)
    return f"{printing}, and as of the end of the period, {end}, where that differs."


def _since(recorded_at: datetime, scope: RecordScope) -> str:
    """As of when something is open that is open at printing and was recorded then."""
    return PRINTING if _running(scope) or recorded_at >= scope.end else BOTH


def _rows(scope: RecordScope) -> Iterator[Row]:
    yield from _cases(scope)
    for deviation in _waiting(scope):
        missing = "the food is still held apart." if deviation.held else "nothing is recorded about what was done."
        yield _deviation(deviation, missing, _since(deviation.recorded_at, scope), scope)
    yield from _closed_since(scope)
    yield from _overdue(scope)
    yield from _doubtful(scope)


@asked
def _waiting(scope: RecordScope) -> QuerySet[Deviation]:
    live = deviations_of(scope).live("reading").filter(Q(acted=False) | Q(held=True))
    return live.select_related("reading__limit_version").order_by("reading__taken_at", "pk")


def _cases(scope: RecordScope) -> Iterator[Row]:
    cases = cases_here(scope)
    began = begun({case.anchor for case in cases})
    for case in cases:
        since = _since(began[case.anchor], scope) if case.anchor in began else PRINTING
        if case.undecided:
            again = f" {case.reopened.heading}." if case.reopened else ""
            words = f"{plural(case.undecided, 'reading')} here still to decide on: hold the food.{again}"
        elif not case.signed:
            words = "Decided at this site; not signed by a supervisor since."
        elif since == BOTH and case.signatures and case.signatures[-1].recorded_at >= scope.end:
            words, since = f"Signed after it, {moment(case.signatures[-1].recorded_at, scope.zone)}.", END
        else:
            continue
        yield Row((f"Case {case.title}", words, since, f"Case {case.title}"))


def _deviation(deviation: Deviation, missing: str, as_of: str, scope: RecordScope) -> Row:
    reading = deviation.reading
    what = f"{reading.item}, {reading_value(reading)}, {moment(reading.taken_at, scope.zone)}: {missing}"
    return Row((f"Deviation D{deviation.pk}", what, as_of, f"D{deviation.pk}"))


def _closed_since(scope: RecordScope) -> Iterator[Row]:
    """Deviations that were open when the period ended: it was recorded later what had been done."""
    if _running(scope):
        return
    for deviation in _told_later(scope):
        told = f"what was done was recorded after it, {moment(deviation.told_at, scope.zone)}."
        yield _deviation(deviation, told, END, scope)


@asked
def _told_later(scope: RecordScope) -> QuerySet[Deviation]:
    first = CorrectiveAction.objects.filter(deviation=OuterRef("pk")).order_by("recorded_at").values("recorded_at")
    found = deviations_of(scope).live("reading").filter(acted=True, held=False, recorded_at__lt=scope.end)
    later = found.annotate(told_at=Subquery(first[:1])).filter(told_at__gte=scope.end)
    return later.select_related("reading__limit_version").order_by("reading__taken_at", "pk")


def _overdue(scope: RecordScope) -> Iterator[Row]:
    states = {here.probe.code: state_at_printing(here.probe, scope) for here in scope.probes}
    for code in late_and_overdue(scope)[1]:
        words = f"Its check was overdue. At printing: {states[code]}."
        yield Row((f"Probe {code}", words, PRINTING if _running(scope) else END, f"Probe {code}"))


def _doubtful(scope: RecordScope) -> Iterator[Row]:
    numbers = count_readings(scope).by_standing
    if numbers[Standing.UNPROVEN]:
        words = f"{plural(numbers[Standing.UNPROVEN], 'reading')} by probes that no good check had vouched for."
        yield Row(("Unproven readings", words, PRINTING, READINGS))
    if numbers[Standing.PENDING]:
        words = f"{plural(numbers[Standing.PENDING], 'reading')} that wait for the next check of their probe."
        yield Row(("Pending readings", words, PRINTING, READINGS))
