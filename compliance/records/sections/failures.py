"""Checks that did not pass, in full words."""

from django.db.models import QuerySet

from compliance.checks.kinds import kind_of
from compliance.checks.models import Check, Verdict
from shared.printing.flow import Writer
from shared.time_text import moment, zoned_moment
from shared.unit_text import in_unit
from shared.units import show_spread

from ..check_history import checks_in
from ..formatting import air, budget, error, method, sentence, uncertainty, version_in_words
from ..scope import RecordScope
from ..statements import asked
from ..summary_counts import count_checks


def write(writer: Writer, scope: RecordScope) -> None:
    writer.heading("Checks that did not pass, in full")
    none = True
    for check in _failed(scope):
        _write(writer, scope, check)
        none = False
    if none:
        writer.paragraph(_passed(scope))


@asked
def _failed(scope: RecordScope) -> QuerySet[Check]:
    found = checks_in(scope).exclude(verdict=Verdict.IN_TOLERANCE).select_related("probe", "site", "void", "corrects")
    return found.order_by("checked_at", "pk")


def _passed(scope: RecordScope) -> str:
    """Of a period without a check nothing passed."""
    made = count_checks(scope).made
    if not made:
        return scope.none("No check was made in this period, so nothing is known of how the probes were in it.")
    passed = (
        "The one check made in the period passed."
        if made == 1
        else f"Each of the {made:,} checks made in the period passed."
    )
    return scope.none(passed)


def _write(writer: Writer, scope: RecordScope, check: Check) -> None:
    unit, void = scope.site.unit, getattr(check, "void", None)
    state = " (void)" if void else ""
    at = zoned_moment(check.checked_at, scope.zone)
    with writer.together():
        writer.heading(f"C{check.pk}: probe {check.probe_then.code}, {check.get_verdict_display()}, {at}{state}", 3)
        writer.facts(
            [
                (
                    "Made by",
                    f"{scope.people.full_of(check, 'checked_by')}, at {check.site_then.name}, {check.get_stage_display()}",
                ),
                ("Procedure", f"{kind_of(check).on_paper.title}, {version_in_words(check.procedure_version)}"),
                ("Against", method(check, unit)),
                ("Error, ± U, allowed", _figures(check, unit)),
                ("In words", " ".join(sentence(in_unit(line, unit)) for line in check.why)),
                ("How it was found", " ".join(sentence(in_unit(line, unit)) for line in check.figures)),
                ("What makes it uncertain", budget(check, unit)),
                *_of_the_reference(check, unit),
                *((("Struck out", _struck(scope, void)),) if void else ()),
            ],
            small=True,
        )
    if check.verdict == Verdict.OUT_OF_TOLERANCE and not void:
        what = kind_of(check).on_paper.noun
        writer.paragraph(
            f"With this {what} the readings of {check.probe_then.code} since its last good check, and until its next one, "
            "went into quarantine: see the cases of quarantine."
        )


def _of_the_reference(check: Check, unit: str) -> list[tuple[str, str]]:
    why = " ".join(in_unit(line, unit) for line in check.budget.get("bath", {}).get("why", []))
    kind = kind_of(check)
    pressure = [("Air pressure", air(check, unit))] if kind.asks_air else []
    return [*pressure, (kind.on_paper.of_the_reference, why)]


def _figures(check: Check, unit: str) -> str:
    allowed = show_spread(check.tolerance_milli, unit)
    if check.error_milli is None:
        return f"none found; allowed {allowed}"
    return f"{error(check, unit)}, {uncertainty(check.expanded_milli, unit)}, allowed {allowed}"


def _struck(scope: RecordScope, void) -> str:
    who, at = scope.people.full_of(void), moment(void.recorded_at, scope.zone)
    new = f" In its place: C{void.replacement_id}." if void.replacement_id else ""
    return f"by {who}, {at}: {sentence(void.reason)}{new}"
