"""The uncertainty budget of a recorded check in words and figures, in the unit of its site."""

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from compliance.metrology.conformity import told_risk
from shared.unit_text import in_unit
from shared.units import Unit, rounded_up
from sites.models import DecisionRule

from .kinds import kind_of
from .models import Check, Verdict

SMALLEST = Decimal("0.0001")
SHAPES = {"normal": "bell", "rectangular": "even"}


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One line of a budget as it is shown: what it is from, its ± value, its shape, its standard uncertainty.

    `shape` says in plain words what `distribution` names.
    """

    name: str
    value: str
    distribution: str
    shape: str
    standard: str
    why: str


def lines_of(check: Check) -> list[BudgetLine]:
    """Every line of the budget; none where the check gave no figure, and for a certificate, whose laboratory made the budget."""
    unit = check.site.unit
    return [
        BudgetLine(
            name=part["name"].capitalize(),
            value=f"±{fine(part['value'], unit)}".replace("±<", "<"),
            distribution=part["distribution"],
            shape=SHAPES[part["distribution"]],
            standard=fine(part["standard"], unit),
            why=in_unit(part["why"], unit),
        )
        for part in check.budget.get("components", [])
    ]


def totals_of(check: Check) -> list[tuple[str, str]]:
    """What the lines come to together, and the factor that widens it to 95 %."""
    kept, unit = check.budget, check.site.unit
    if not kept.get("components"):
        return []
    return [
        ("Combined standard u", f"{fine(kept['combined'], unit)} {Unit(unit).label}"),
        ("Coverage factor k", f"{kept['coverage_factor']:.2f}"),
        ("Expanded U = k · u", f"±{fine(kept['expanded'], unit)} {Unit(unit).label}{_given(check, unit)}"),
    ]


def _given(check: Check, unit: str) -> str:
    """The same as it is given everywhere else."""
    if check.expanded_milli is None:
        return ""
    return f", given as ±{rounded_up(check.expanded_milli, unit)} {Unit(unit).label}"


def fine(celsius: float, unit: str) -> str:
    """A width in °C in the unit shown, to a ten-thousandth, so that a stranger can add the squares up again."""
    width = Decimal(repr(celsius)) * (1 if unit == Unit.CELSIUS else Decimal("1.8"))
    if 0 < width < SMALLEST / 2:
        return f"<{SMALLEST}"
    return f"{width.quantize(SMALLEST, rounding=ROUND_HALF_UP):f}"


def rule_in_words(check: Check) -> str:
    """How the business let the uncertainty enter the verdict, when the check was recorded."""
    return f"{DecisionRule(check.decision_rule).label}."


def chance_wrong(check: Check) -> str:
    """Such as: 1 in 200, if the bath was made as ticked. Empty for a check that claims nothing."""
    risk = check.budget.get("conformity", {}).get("risk")
    if risk is None or check.verdict == Verdict.INCONCLUSIVE:
        return ""
    return f"{told_risk(risk)}, {kind_of(check).provided}"
