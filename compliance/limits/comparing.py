"""Whether figures are looser than the rule they come from: exact, in the rule's own unit."""

from decimal import Decimal

from .models import Direction, Rule
from .wording import duration, figure


def looser_than(rule: Rule, *, value: Decimal, hold_s: int | None, within_s: int | None) -> list[str]:
    """In what ways these figures demand less than the rule, in words; none where they demand as much or more."""
    ways = []
    further = value > rule.value if rule.direction == Direction.AT_MOST else value < rule.value
    if further:
        ways.append(f"{figure(value, rule.unit)} in place of {figure(rule.value, rule.unit)}")
    if (hold_s or 0) < (rule.hold_s or 0):
        ways.append(f"held for {duration(hold_s) or 'no time'} in place of {duration(rule.hold_s)}")
    if rule.within_s and (within_s is None or within_s > rule.within_s):
        ways.append(f"reached within {duration(within_s) or 'any time'} in place of {duration(rule.within_s)}")
    return ways
