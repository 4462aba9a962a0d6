"""What happened in the period, in numbers; a zero is printed as a zero."""

from collections.abc import Iterator

from shared.printing.flow import Writer
from shared.printing.table import Column, Row

from ..scope import RecordScope
from ..summary_counts import CheckCount, count_cases, count_checks, count_deviations, count_readings

COLUMNS = [Column("In the period", share=2.2), Column("Number", align="center", points=60), Column("Which", share=2)]


def write(writer: Writer, scope: RecordScope) -> None:
    writer.heading("Summary")
    writer.table(COLUMNS, _rows(scope))


def _rows(scope: RecordScope) -> Iterator[Row]:
    yield from _checks(count_checks(scope), len(scope.probes))
    readings = count_readings(scope)
    yield Row(("Readings taken, without void ones", readings.taken, " "), strong=True)
    for word, number in readings.by_standing:
        yield Row((f"  standing: {word}", number, " "))
    yield Row(("  entered late", readings.late, " "))
    yield Row(("  taken with a probe that was to be checked first", readings.to_check_first, " "))
    yield Row(("  taken with a probe that was not to be used", readings.not_to_be_used, " "))
    yield Row(("  without the hold time that their limit asks for", readings.no_hold, " "))
    yield Row(("Readings void or corrected", readings.void, " "), strong=True)
    opened, closed = count_deviations(scope)
    yield Row(("Deviations from a limit", opened + closed, " "), strong=True)
    yield Row(("  open: nothing recorded yet about what was done", opened, " "))
    yield Row(("  closed: what was done is recorded", closed, " "))
    cases = count_cases(scope)
    yield Row(("Cases of quarantine that touch the period", cases.total, " "), strong=True)
    yield Row(("  with readings still to decide on", cases.open, cases.open_which or " "))
    yield Row(("  decided, not signed", cases.to_sign, cases.to_sign_which or " "))
    yield Row(("  signed", cases.signed, " "))


def _checks(checks: CheckCount, probes: int) -> Iterator[Row]:
    yield Row(("Probes placed, read or checked here", probes, " "), strong=True)
    yield Row(("Checks made of these probes, without void ones", checks.made, " "), strong=True)
    for word, number, which in checks.by_verdict:
        yield Row((f"  {word}", number, which or " "))
    yield Row(("  made after the day they were due", len(checks.late), ", ".join(checks.late) or " "))
    yield Row(("Checks void or corrected", checks.void, " "), strong=True)
    which = ", ".join(checks.overdue)
    yield Row(("Probes whose check was overdue at the end", len(checks.overdue), which or " "), strong=True)
