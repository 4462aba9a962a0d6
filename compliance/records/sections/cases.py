"""Cases of quarantine: why, from when to when, what the readings could really have been, decisions and signatures."""

from collections.abc import Iterable, Iterator
from itertools import groupby, takewhile

from django.db.models import QuerySet

from compliance.checks.models import Check
from compliance.limits.models import LimitVersion
from compliance.limits.wording import demand
from compliance.metrology.assessment import true_range
from compliance.quarantine.grounds import Lost, good_readings_lost, is_graver
from compliance.quarantine.models import Fate
from compliance.quarantine.outcomes import OutcomeInput, outcome_of
from compliance.quarantine.reopening import SHORT
from compliance.quarantine.struck_out import StruckOut
from compliance.readings.models import Reading
from shared.dated import told_at
from shared.plurals import plural
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import moment, zoned_moment

from ..case_rows import CaseHere, Held, act_of, bounds_by_span, cases_here, held_rows
from ..formatting import NO_HOLD, between, error, joined, sentence, uncertainty, value
from ..scope import RecordScope
from ..statements import asked

COLUMNS = [
    Column("Taken", points=70),
    Column("No.", points=33, links=True),
    Column("Food or unit", share=1.1),
    Column("Limit", share=1.2),
    Column("Reading", align="decimal", points=52),
    Column("Could have been", align="center", points=74),
    Column("The limit", points=54),
    Column("By", points=24),
]
STRUCK = [
    Column("Struck out", points=70),
    Column("It said", share=1.2, links=True),
    Column("What became of it", share=1.4, links=True),
    Column("Why", share=1),
    Column("By", points=24),
]
OUTCOMES = {"held": "held", "broken": "broken", "undecided": "cannot be told"}
STATES = {"open": "readings are still to be decided on", "to_sign": "decided, not signed", "signed": "signed"}


def write(writer: Writer, scope: RecordScope) -> None:
    writer.heading("Cases of quarantine and decisions")
    cases = cases_here(scope)
    told = CaseRows(scope, cases)
    groups = groupby(held_rows(scope, cases), key=lambda row: row.place)
    place, rows = next(groups, (None, iter(())))
    if not cases and place is None:
        taken = (
            "No reading of the period is or was in quarantine."
            if scope.was_read
            else "No reading was taken in this period."
        )
        writer.paragraph(scope.none(taken))
    for number, case in enumerate(cases):
        mine = place == number
        _write_case(writer, scope, case, told.rows(rows) if mine else ())
        if mine:
            place, rows = next(groups, (None, iter(())))
    if place is not None:
        _write_former(writer, told, rows)


def write_one(writer: Writer, scope: RecordScope, case: CaseHere) -> None:
    """One case, without the decisions on readings of others."""
    told = CaseRows(scope, [case])
    mine = takewhile(lambda row: row.place == 0, held_rows(scope, [case]))
    _write_case(writer, scope, case, told.rows(mine))


def _write_case(writer: Writer, scope: RecordScope, case: CaseHere, rows: Iterable[Row]) -> None:
    _write_head(writer, scope, case)
    caption = f"Readings of case {case.title}"
    empty = "No reading of it was taken in the period."
    writer.table(COLUMNS, rows, caption=caption, dense=True, empty=empty)
    if case.struck:
        caption = f"Struck out of case {case.title}, or corrected in it"
        writer.table(STRUCK, (_struck(each, scope) for each in case.struck), caption=caption, dense=True)
    _write_signatures(writer, scope, case)


def _struck(each: StruckOut, scope: RecordScope) -> Row:
    void = each.void
    new = void.replacement
    became = each.became[0].upper() + each.became[1:] + (f": {_said(new, scope)}" if new else "")
    cells = moment(void.recorded_at, scope.zone), _said(each.reading, scope), became, void.reason
    return Row((*cells, scope.people.initials_of(void)))


def _said(reading: Reading, scope: RecordScope) -> str:
    read, at = value(reading.typed, reading.unit, reading.value_milli), moment(reading.taken_at, scope.zone)
    return f"R{reading.pk} {reading.item}, {read}, {reading.probe_then.code}, {at}"


def _write_former(writer: Writer, told: "CaseRows", rows: Iterable[Held]) -> None:
    writer.heading("Decisions on readings that are no longer in quarantine", 2)
    writer.paragraph("The check that put these readings in quarantine was voided since, or they are void themselves.")
    writer.table(COLUMNS, told.rows(rows), dense=True)


def _write_head(writer: Writer, scope: RecordScope, case: CaseHere) -> None:
    with writer.together():
        code = case.probe.particulars_at(scope.reached).code
        writer.heading(f"Case {case.title}: probe {code}", 2, name=f"Case {case.title}")
        writer.facts(
            [
                ("Why", " ".join(case.reasons)),
                ("From", moment(case.starts_at, scope.zone) if case.starts_at else "before any good check"),
                ("To", moment(case.ends_at, scope.zone) if case.ends_at else "no good check has been made since"),
                ("Errors at the checks", "\n".join(_errors(case, scope))),
                ("Readings here in all", f"{case.readings:,}; {case.undecided:,} still to decide on"),
                ("State", _state(case)),
            ]
        )


def _state(case: CaseHere) -> str:
    return (
        "\n".join([STATES[case.state], case.reopened.heading, *case.reopened.lines])
        if case.reopened
        else STATES[case.state]
    )


def _errors(case: CaseHere, scope: RecordScope) -> Iterator[str]:
    """What each check that bounds the run found; a side without one leaves the error unbounded."""
    seen: dict[int, Check] = {}
    for span in case.spans:
        seen |= {check.pk: check for check in (span.behind, span.doubt, span.ahead) if check}
    unit = scope.site.unit
    for check in sorted(seen.values(), key=lambda c: (c.checked_at, c.pk)):
        figures = f"{error(check, unit)} {uncertainty(check.expanded_milli, unit)}".strip()
        yield f"C{check.pk}, {zoned_moment(check.checked_at, scope.zone)}: {figures}, {check.get_verdict_display()}"
    checks = [check for span in case.spans for check in (span.behind, span.ahead)]
    if any(check is None or check.error_milli is None for check in checks):
        yield "For a part of it a check or its figure is missing on one side, so what was read in that part cannot be told."


def _write_signatures(writer: Writer, scope: RecordScope, case: CaseHere) -> None:
    if not case.signatures:
        writer.paragraph(f"Case {case.title} has not been signed.", strong=True)
    for signature in case.signatures:
        counts = ", ".join(
            f"{count} {Fate(fate).label.split(':')[0].lower()}" for fate, count in signature.counts.items()
        )
        about = f"Case {case.title}: {plural(signature.readings, 'reading')} at all sites ({counts or 'none'})."
        note = f" {sentence(signature.note)}" if signature.note else ""
        with writer.together():
            writer.paragraph(about + note)
            name = f"{signature.signed_name} ({scope.people.initials_of(signature, 'signed_by')})"
            writer.signature(name, signature.recorded_at, signature.meaning)
    if case.signatures and not case.signed:
        writer.paragraph(f"The last signature under case {case.title} no longer stands.", strong=True)


@asked
def _versions(scope: RecordScope) -> QuerySet[LimitVersion]:
    used = Reading.objects.filter(site=scope.site).order_by().values("limit_version")
    return LimitVersion.objects.filter(pk__in=used).select_related("limit")


class CaseRows:
    """Rows of the table: each decision once, over the readings that it was made on."""

    def __init__(self, scope: RecordScope, cases: list[CaseHere]):
        self._scope, self._bounds = scope, bounds_by_span(cases)
        self._good_lost = good_readings_lost(scope.site.pk)
        self._versions = {version.pk: version for version in _versions(scope)}

    def rows(self, held: Iterable[Held]) -> Iterator[Row]:
        before: object = ()
        for row in held:
            act = act_of(row)
            if act != before:
                yield from self._decision(row)
            before = act
            yield self._row(row)

    def _decision(self, row: Held) -> Iterator[Row]:
        if row.decision is None:
            yield Row(note="Not decided yet. Hold this food and do not serve it.", strong=True)
            return
        people, zone = self._scope.people, self._scope.zone
        who, at = people.full(row.decided_by, row.decided_at), moment(row.decided_at, zone)
        head = f"{Fate(row.fate).label.capitalize()}. Decided by {who}, {at}."
        if row.recorded_by != row.decided_by:
            head += f" Entered by {people.full(row.recorded_by, row.decided_at)}."
        yield Row(note=head, strong=True, void=bool(row.replaced))
        if row.replaced:
            yield Row(note="This decision was replaced by a later one on the same readings, below.")
        words = (("Why", row.why), ("Risk", row.risk), ("Told", row.told), ("Evidence", row.evidence))
        parts = [f"{label}: {sentence(text)}" for label, text in words if text]
        if row.good:
            read = value(row.good_typed, row.good_unit, row.good_milli)
            taken = moment(row.good_at, zone)
            standing = f" Its standing when this was decided: {row.good_standing}." if row.good_standing else ""
            parts.append(
                f"Measured again: R{row.good}, {row.good_item}, {read} with {_code_then(row)}, {taken}.{standing}"
            )
        yield Row(note=" ".join(parts) or "No words were given.")

    def _row(self, row: Held) -> Row:
        scope, version = self._scope, self._versions[row.version]
        missing = f", {NO_HOLD}" if version.hold_s and row.hold_s is None else ""
        cells = (
            moment(row.at, scope.zone),
            f"R{row.pk}",
            row.item,
            joined(demand(version)),
            value(row.typed, row.unit, row.milli, row.hold_s, row.since_start_s) + missing,
            between(*self.truth(row), scope.site.unit),
            self.outcome(row),
            scope.people.initials(row.by, row.recorded_at),
        )
        return Row(cells, void=bool(row.void or row.replaced), note=self._note(row))

    def truth(self, row: Held) -> tuple[int | None, int | None]:
        """What it could really have been; None where that cannot be told."""
        error = self._bounds.get(row.span)
        return (true_range(row.milli, error) if error else None) or (None, None)

    def outcome(self, row: Held) -> str:
        error = self._bounds.get(row.span)
        if error is None:
            return "not in question" if not row.void else "void"
        measured = OutcomeInput(row.milli, row.hold_s, row.since_start_s)
        return OUTCOMES[outcome_of(self._versions[row.version], measured, error)]

    def _note(self, row: Held) -> str:
        parts = []
        if not self._scope.holds(row.at):
            parts.append("Taken outside the period, decided in it.")
        if row.void:
            parts.append("The reading is void.")
        now = self.outcome(row) if row.span in self._bounds and row.outcome else ""
        if now and OUTCOMES[row.outcome] != now:
            parts.append(f"When it was decided: {OUTCOMES[row.outcome]}.")
        if lost := self.lost(row):
            parts.append(f"To be decided again: {SHORT[lost]}. Hold this food and do not serve it.")
        return " ".join(parts)

    def lost(self, row: Held) -> str:
        """Why its decision no longer holds; empty where it does, where it counts no more, and where there is none."""
        error = self._bounds.get(row.span)
        if error is None or row.decision is None or row.void or row.replaced:
            return ""
        if row.decision in self._good_lost or row.fate == Fate.DISCARDED:
            return self._good_lost.get(row.decision, "")
        measured = OutcomeInput(row.milli, row.hold_s, row.since_start_s)
        now = outcome_of(self._versions[row.version], measured, error)
        return Lost.GRAVER if is_graver(now, row.outcome) else ""


def _code_then(row: Held) -> str:
    """The code of the probe with which it was measured again, as it was called then."""
    told = told_at(row.good_former or [], row.good_at)
    return told["code"] if told else row.good_probe
