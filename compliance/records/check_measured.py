"""What a printed check rests on: its reference point by point, every timed reading, and the full budget."""

from collections.abc import Iterator

from compliance.checks.budget import chance_wrong, lines_of, rule_in_words, totals_of
from compliance.checks.check_page import mistyped_of, preparation_of, sentences, typing_of
from compliance.checks.kinds import kind_of
from compliance.checks.models import Check
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import stopwatch
from shared.units import Unit, show, show_spread
from sites.models import DecisionRule

from .formatting import air, error, joined, method, uncertainty, usable

POINTS = [Column("Point of the preparation", share=3), Column("State", share=1)]
READINGS = [
    Column("No.", points=24),
    Column("Since it went in", share=1),
    Column("As typed", align="right", share=1),
    Column("Shown here as", align="right", share=1),
    Column("Counted", share=2),
]
MET = "met"
EXPLAINED = (
    "Rectangular: anywhere up to the value is equally likely. Normal: the value is a standard deviation. The standard "
    "uncertainties are combined by adding their squares."
)
UNUSABLE = (
    "What it was held against was not made properly. This budget was worked out all the same; it vouches for nothing."
)
RULES = {
    DecisionRule.NON_BINARY: "ILAC-G8:09/2019: non-binary statement, guard band w = U.",
    DecisionRule.GUARDED: "ILAC-G8:09/2019: binary statement, guard band w = U.",
    DecisionRule.SIMPLE: "ILAC-G8:09/2019: simple acceptance, w = 0.",
}


def write(writer: Writer, check: Check) -> None:
    _write_reference(writer, check)
    _write_readings(writer, check)
    _write_result(writer, check)
    _write_budget(writer, check)


def _write_reference(writer: Writer, check: Check) -> None:
    unit, made = check.site.unit, preparation_of(check)
    writer.heading("What it was held against")
    if made is None:
        writer.facts([("Reference", method(check, unit))])
        return
    depth = f"{made['deep'] or 'confirmed'}, not measured" if made["depth"] is None else joined(f"{made['depth']:g} mm")
    facts = [("Reference", method(check, unit)), (made["depth_label"], depth)]
    if kind_of(check).asks_air:
        facts.insert(1, ("Air pressure", air(check, unit)))
    writer.facts([*facts, ("What it is worth", " ".join(map(joined, made["why"])))])
    rows = (Row((words, state or MET), strong=bool(state)) for words, state in made["points"])
    empty = "Made in this way, it stands for no known temperature, whatever else was done right."
    writer.table(POINTS, rows, caption=f"{made['heading']}: {made['kind'].lower()}", empty=empty)


def _write_readings(writer: Writer, check: Check) -> None:
    if not kind_of(check).guided:
        return
    settling, unit = check.budget.get("settling", {}), check.site.unit
    writer.heading("What the display showed")
    writer.table(READINGS, _readings(check), empty="No reading was typed.")
    for line in typing_of(check):
        writer.paragraph(joined(line), small=True)
    facts = [
        ("How it came to rest", settling.get("sentence", "")),
        ("Settled value", "none" if check.reading_milli is None else joined(show(check.reading_milli, unit, 2))),
    ]
    if check.reading_milli is not None and settling.get("residual") is not None:
        facts.append(("Still to come, at most", joined(show_spread(round(settling["residual"] * 1000), unit, 3))))
    writer.facts(facts)


def _readings(check: Check) -> Iterator[Row]:
    """Those from which on the probe had settled make up its value."""
    since, unit = check.budget.get("settling", {}).get("since"), check.site.unit
    asked = mistyped_of(check)
    for place, timed in enumerate(check.timed_readings.all(), start=1):
        seconds = timed.elapsed_ms / 1000
        settled = check.reading_milli is not None and since is not None and seconds >= since
        cells = (
            place,
            stopwatch(seconds),
            f"{timed.typed} {Unit(timed.unit).label}",
            show(timed.value_milli, unit, 2),
            "settled" if settled else "not yet settled",
        )
        yield Row(cells, note=f"Probably mistyped: {asked[place]}" if place in asked else "")


def _write_result(writer: Writer, check: Check) -> None:
    unit, conformity = check.site.unit, check.budget.get("conformity", {})
    within = conformity.get("probability") if usable(check) else None
    silent = "cannot be told" if check.no_figure else "it claims nothing"
    writer.heading("From the reading to the verdict")
    settled = "none" if check.reading_milli is None else show(check.reading_milli, unit, 2)
    writer.facts(
        [
            ("Reading", joined(settled)),
            ("Reference", _reference(check, unit)),
            ("Error of the probe", error(check, unit)),
            ("Uncertainty U (95 %)", uncertainty(check.expanded_milli, unit)),
            ("Tolerance", joined(show_spread(check.tolerance_milli, unit))),
            ("Decision rule", f"{rule_in_words(check)} {RULES[DecisionRule(check.decision_rule)]}"),
            ("Chance it is in tolerance", "cannot be told" if within is None else f"{100 * within:.1f} %"),
            ("Chance this is wrong", chance_wrong(check) or silent),
        ]
    )
    writer.paragraph(joined(" ".join(sentences(check)[1])), small=True)


def _reference(check: Check, unit: str) -> str:
    shown = joined(show(check.reference_milli, unit, 2))
    return shown if usable(check) else f"{shown} if it had been made properly"


def _write_budget(writer: Writer, check: Check) -> None:
    writer.heading("Uncertainty budget")
    lines = lines_of(check)
    if not lines:
        writer.paragraph(kind_of(check).on_paper.no_budget)
        return
    if not usable(check):
        writer.paragraph(UNUSABLE, strong=True)
    unit = Unit(check.site.unit).label
    columns = [
        Column("Component", points=74),
        Column(f"Value, {unit}", align="right", points=56),
        Column("Distribution", points=58),
        Column(f"Standard u, {unit}", align="right", points=56),
        Column("Why", share=1),
    ]
    rows = (Row((e.name, e.value, e.distribution, e.standard, joined(e.why))) for e in lines)
    writer.table(columns, rows)
    writer.facts([(label, joined(value)) for label, value in totals_of(check)])
    writer.paragraph(EXPLAINED, small=True)
