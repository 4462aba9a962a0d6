"""What was still undecided when the record was printed."""

from collections.abc import Iterator
from itertools import chain

from django.db.models import Q

from compliance.checks.models import Standing
from shared.plurals import plural
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import moment

from ..case_rows import cases_here
from ..check_history import checks_in, late_and_overdue
from ..formatting import reading_value
from ..scope import RecordScope
from ..summary_counts import count_readings, deviations_of
from .summary import READINGS

COLUMNS = [
    Column("Open", points=118, links=True),
    Column("What is missing", share=1),
    Column("More", points=30, align="right", page=True),
]


def write(writer: Writer, scope: RecordScope) -> None:
    writer.heading("Open points at printing")
    known = scope.was_read or checks_in(scope).exists()
    empty = (
        "Nothing was left open."
        if known
        else "Nothing was read and no check was made in this period, so nothing could be left open."
    )
    rows = _rows(scope)
    first = next(rows, None)
    if first is None:
        writer.paragraph(scope.none(empty))
        return
    writer.table(COLUMNS, chain([first], rows))


def _rows(scope: RecordScope) -> Iterator[Row]:
    for case in cases_here(scope):
        if case.undecided:
            again = f" {case.reopened.heading}." if case.reopened else ""
            words = f"{plural(case.undecided, 'reading')} here still to decide on: hold the food.{again}"
            yield Row((f"Case {case.title}", words, f"Case {case.title}"))
        elif not case.signed:
            told = "Decided at this site; not signed by a supervisor since."
            yield Row((f"Case {case.title}", told, f"Case {case.title}"))
    live = deviations_of(scope).live("reading").filter(Q(acted=False) | Q(held=True))
    waiting = live.select_related("reading__limit_version").order_by("reading__taken_at", "pk")
    for deviation in waiting.iterator(chunk_size=500):
        reading = deviation.reading
        read = reading_value(reading)
        missing = "the food is still held apart." if deviation.held else "nothing is recorded about what was done."
        what = f"{reading.item}, {read}, {moment(reading.taken_at, scope.zone)}: {missing}"
        yield Row((f"Deviation D{deviation.pk}", what, f"D{deviation.pk}"))
    overdue = "Its check was overdue at the end of the period, or at printing if that came first."
    for code in late_and_overdue(scope)[1]:
        yield Row((f"Probe {code}", overdue, f"Probe {code}"))
    yield from _doubtful(scope)


def _doubtful(scope: RecordScope) -> Iterator[Row]:
    numbers = count_readings(scope).by_standing
    if numbers[Standing.UNPROVEN]:
        words = f"{plural(numbers[Standing.UNPROVEN], 'reading')} by probes that no good check had vouched for."
        yield Row(("Unproven readings", words, READINGS))
    if numbers[Standing.PENDING]:
        words = f"{plural(numbers[Standing.PENDING], 'reading')} that wait for the next check of their probe."
        yield Row(("Pending readings", words, READINGS))
