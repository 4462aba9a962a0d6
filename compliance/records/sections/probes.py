"""Each probe of the period: what it is, where it was, its timeline as a picture, and its checks."""

from collections.abc import Iterator
from itertools import groupby

from django.db.models import QuerySet

from compliance.checks.kinds import KINDS, kind_of
from compliance.checks.models import BEGINNING, END, Check, Span, Verdict
from compliance.checks.queries import entered_late, is_let_be, move_entered_late, not_cleared_by, passed_near_edge
from compliance.plans.demands import Checked
from compliance.probes.models import Event, Probe
from shared.charts.axes import Frame
from shared.charts.timeline import LOW, Band, Dot, Flag, probe_timeline
from shared.phone_time import phone_words
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import day_words, moment, zoned_moment
from shared.units import show, show_spread, show_step

from ..check_history import PlansHere, by_probe, newest_procedures, plans_of
from ..formatting import air, entered_beside, error, joined, method, sentence, uncertainty, version_in_words
from ..probes import ProbeHere, TimeHere
from ..scope import RecordScope, once
from ..statements import asked

COLUMNS = [
    Column("Made", points=72),
    Column("No.", points=28.5, named=True),
    Column("As", points=23),
    Column("Method, reference, depth", share=1),
    Column("Error", align="decimal", points=38),
    Column("U", align="decimal", points=33),
    Column("Allowed", align="decimal", points=33),
    Column("Verdict", points=42),
    Column("By", points=16.5),
    Column("Next due", points=43.5),
]
FEW = 5  # checks that pass, which need no picture
BESIDE = ("behind", "ahead", "doubt")  # the checks of a span
SAID_BESIDE = ("checked_at", "verdict", "error_milli", "expanded_milli")
NOT_PRINTED = ("why", "figures", "typing")  # of a check; they are long


def write(writer: Writer, scope: RecordScope) -> None:
    writer.heading("Probes and their checks")
    if not scope.probes:
        writer.paragraph(scope.none("No probe was here in the period."))
    spans, events, plans = spans_here(scope), _events(scope), plans_of(scope)
    made = by_probe(scope).defer(*NOT_PRINTED)
    checks = groupby(made.iterator(chunk_size=500), key=lambda check: check.probe_id)
    probe_id, mine = next(checks, (None, ()))
    for number, here in enumerate(scope.probes):
        pk = here.probe.pk
        found = []
        if probe_id == pk:
            found = list(mine)
            probe_id, mine = next(checks, (None, ()))
        with writer.together():
            if number == 0:
                writer.paragraph(f"{scope.about_probes} {_procedures(scope)}", small=True)
            _write_head(writer, scope, plans, here, spans.get(pk, []))
            if _tells(found, events.get(pk, [])):
                writer.drawing(_picture(writer, scope, here.probe, spans.get(pk, []), found, events.get(pk, [])))
        _write_checks(writer, scope, plans, here.probe, found, spans.get(pk, []))


def _procedures(scope: RecordScope) -> str:
    newest = newest_procedures(scope).items()
    told = (f"{KINDS[kind].on_paper.title}, {version_in_words(version)}" for kind, version in newest)
    return f"Procedure, where a line says nothing else: {'; '.join(told)}." if newest else ""


def _tells(checks: list[Check], events: list[Event]) -> bool:
    """Whether a picture tells more than the few rows under it."""
    return len(checks) > FEW or bool(checks and events) or any(each.verdict != Verdict.IN_TOLERANCE for each in checks)


@once
def spans_here(scope: RecordScope) -> dict[int, list[Span]]:
    """The spans of each probe that fall in the period, with what is said of the checks on either side."""
    return {pk: list(group) for pk, group in groupby(_spans(scope), key=lambda span: span.probe_id)}


@asked
def _spans(scope: RecordScope) -> QuerySet[Span]:
    overlap = {"starts_at__lt": scope.end, "ends_at__gte": scope.start}
    spans = Span.objects.filter(probe__in=scope.probe_keys, **overlap)
    said = [f"{check}__{name}" for check in BESIDE for name in SAID_BESIDE]
    spans = spans.select_related(*BESIDE).only("probe", "starts_at", "ends_at", "standing", *said)
    return spans.order_by("probe", "ends_at")


def _events(scope: RecordScope) -> dict[int, list[Event]]:
    return {pk: list(group) for pk, group in groupby(_happened(scope), key=lambda event: event.probe_id)}


@asked
def _happened(scope: RecordScope) -> QuerySet[Event]:
    events = Event.objects.live().filter(probe__in=scope.probe_keys, **scope.within("at"))
    return events.order_by("probe", "at", "pk")


def _write_head(writer: Writer, scope: RecordScope, plans: PlansHere, here: ProbeHere, spans: list[Span]) -> None:
    probe = here.probe
    about = f": {probe.description}" if probe.description else ""
    writer.heading(f"Probe {probe.code}{about}", 2, name=f"Probe {probe.code}")
    writer.run_on(_facts(scope, plans, here, spans))


def _write_checks(
    writer: Writer, scope: RecordScope, plans: PlansHere, probe: Probe, checks: list[Check], spans: list[Span]
) -> None:
    failed = not_cleared_by(checks, spans)
    rows = (_row(scope, plans, probe, check, failed.get(check.pk)) for check in checks)
    empty = scope.none(f"Probe {probe.code} was not checked in the period.")
    if not checks:
        writer.paragraph(empty)
        return
    writer.table(COLUMNS, rows, dense=True)


def _facts(scope: RecordScope, plans: PlansHere, here: ProbeHere, spans: list[Span]) -> Iterator[tuple[str, object]]:
    probe, unit = here.probe, scope.site.unit
    made = ", ".join(filter(None, (probe.maker, probe.model, probe.serial)))
    yield "Sensor and display", "; ".join(filter(None, (probe.get_sensor_display(), made, _display(probe, unit))))
    plan = plans.in_force(probe)
    yield "Checked", f"{plan.plan.told} ({plan.source})"
    yield "Where it was", "\n".join(_stay(stay, scope) for stay in here.stays)
    yield "Last check before", _beside(spans[0].behind if spans else None, scope, before=True)
    yield "Next check after", _beside(spans[-1].ahead if spans else None, scope, before=False)
    yield "At printing", state_at_printing(probe, scope)


def _display(probe: Probe, unit: str) -> str:
    step = show_step(probe.resolution_milli)
    span = f"{show(probe.lowest_milli, unit, 0)} to {show(probe.highest_milli, unit, 0)}"
    stem = f"; stem {probe.stem_diameter_mm:g} mm thick" if probe.stem_diameter_mm else ""
    return joined(f"reads to {step}, from {span}; may be off by {show_spread(probe.tolerance_milli, unit)}{stem}")


def _stay(stay: TimeHere, scope: RecordScope) -> str:
    end = f"until {moment(stay.end, scope.zone)}" if stay.end else "not moved since"
    reason = f" ({stay.reason})" if stay.reason else ""
    late = f"; entered late, {moment(stay.move.recorded_at, scope.zone)}" if move_entered_late(stay.move) else ""
    return f"{stay.site} from {moment(stay.start, scope.zone)}, {end}{reason}{late}"


def _beside(check: Check | None, scope: RecordScope, *, before: bool) -> str:
    """The conclusive check that speaks for one edge of the period, where it lies outside the period."""
    if check is None or (check.checked_at >= scope.start if before else check.checked_at < scope.end):
        return "see the checks below" if check else "none known"
    told = f"C{check.pk}, {zoned_moment(check.checked_at, scope.zone)}: {check.get_verdict_display()}"
    return f"{told}, error {error(check, scope.site.unit)} {uncertainty(check.expanded_milli, scope.site.unit)}"


def state_at_printing(probe: Probe, scope: RecordScope) -> str:
    state = getattr(probe, "state", None)
    if is_let_be(probe):
        return "withdrawn from use"
    if state is None or state.due_at == BEGINNING:
        return "never checked; a check is due"
    if state.due_at is None:
        return f"{state.get_standing_display()}; no check is due ({state.due_because})"
    due = moment(state.due_at, scope.zone)
    word = "overdue since" if state.due_at < scope.now else "next check due"
    return f"{state.get_standing_display()}; {word} {due} ({state.due_because})"


def _picture(writer: Writer, scope: RecordScope, probe: Probe, spans, checks, events):
    frame = Frame(
        tolerance=probe.tolerance_milli / 1000,
        start=scope.start,
        end=scope.reached,
        zone=scope.zone,
        unit=scope.site.unit,
    )
    return probe_timeline(
        [Band(_open(s.starts_at, BEGINNING), _open(s.ends_at, END), s.standing) for s in spans],
        [_dot(check) for check in checks],
        [Flag(event.at, f"E{event.pk} {event.get_kind_display()}") for event in events],
        frame=frame,
        size=(writer.width, LOW),
    )


def _open(at, end):
    return None if at == end else at


def _dot(check: Check) -> Dot:
    figures = (None if milli is None else milli / 1000 for milli in (check.error_milli, check.expanded_milli))
    return Dot(check.checked_at, *figures, check.verdict, check.stage, void=hasattr(check, "void"))


def _row(scope: RecordScope, plans: PlansHere, probe: Probe, check: Check, failed: Check | None) -> Row:
    unit, void = scope.site.unit, hasattr(check, "void")
    spread = " " if check.error_milli is None else uncertainty(check.expanded_milli, unit)
    cells = (
        moment(check.checked_at, scope.zone),
        f"C{check.pk}",
        check.get_stage_display().split(",")[0].removeprefix("as "),
        _method(check, unit),
        error(check, unit),
        spread,
        joined(show_spread(check.tolerance_milli, unit)),
        check.get_verdict_display().capitalize(),
        scope.people.initials_of(check, "checked_by"),
        "before use" if failed else _next_due(scope, plans, probe, check),
    )
    strong = check.verdict == Verdict.OUT_OF_TOLERANCE and not void
    return Row(cells, void=void, strong=strong, note=" ".join(filter(None, _notes(scope, check, failed))))


def _method(check: Check, unit: str) -> str:
    """How it was made, against what and how deep."""
    deep = f", {round(check.immersion_mm)} mm" if check.immersion_mm else ""
    return joined(f"{method(check, unit)}{deep}")


def _next_due(scope: RecordScope, plans: PlansHere, probe: Probe, check: Check) -> str:
    if check.verdict != Verdict.IN_TOLERANCE:
        return "before use"
    if not kind_of(check).may_clear:
        return "unchanged"
    good = Checked(check.checked_at, check.verdict, check.stage, check.pk, conditional=passed_near_edge(check))
    due = plans.after(probe, good)
    return day_words(due.at.astimezone(scope.zone).date()) if due.at else due.because


def _notes(scope: RecordScope, check: Check, failed: Check | None) -> Iterator[str]:
    void, corrects = getattr(check, "void", None), getattr(check, "corrects", None)
    at = moment(check.recorded_at, scope.zone)
    yield from _made(scope, check)
    if failed and not void:
        yield f"It did not clear the probe: C{failed.pk}, away from zero, had failed and was not made good."
    if passed_near_edge(check):
        yield "Passed near the edge of its tolerance."
    if corrects:
        yield f"Corrects C{corrects.voids_id}."
    if entered_late(check):
        yield f"Entered late, {at}, by {scope.people.initials_of(check)}."
    else:
        yield entered_beside(check, check.checked_at, scope, other=check.recorded_by_id != check.checked_by_id)
    if check.phone:
        yield f"Typed on a phone without network: {phone_words(check.phone, scope.zone)}."
    if check.surroundings:
        yield air(check, scope.site.unit)
    if check.note:
        yield f"Note: {sentence(check.note)}"
    if void:
        yield _struck(scope, void)


def _made(scope: RecordScope, check: Check) -> Iterator[str]:
    if check.site_id != scope.site.pk:
        yield f"Made by {scope.people.full_of(check, 'checked_by')} at {check.site_then.name}."
    if check.procedure_version != newest_procedures(scope)[check.kind]:
        yield f"Procedure: {version_in_words(check.procedure_version)}."
    if check.no_figure:
        yield f"It gave no figure: {check.get_no_figure_display()}."


def _struck(scope: RecordScope, void) -> str:
    instead = f"In its place: C{void.replacement_id}." if void.replacement_id else "Nothing stands in its place."
    at = moment(void.recorded_at, scope.zone)
    return f"Struck out by {scope.people.full_of(void)}, {at}: {sentence(void.reason)} {instead}"
