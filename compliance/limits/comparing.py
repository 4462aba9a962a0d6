"""Whether figures are looser than the rule they come from, exact and in its own unit, or than those that held before."""

from decimal import Decimal

from shared.time_text import duration

from .models import Direction, LimitVersion, Rule
from .wording import figure


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


def lets_more_pass(before: LimitVersion, after: LimitVersion) -> bool:
    """Whether any reading that does not meet one version would meet another, or no longer be asked for."""
    if not before.in_force:
        return False
    if not after.in_force or before.direction != after.direction:
        return True
    further = after.value_milli - before.value_milli
    wider = further > 0 if before.direction == Direction.AT_MOST else further < 0
    return wider or (after.hold_s or 0) < (before.hold_s or 0) or _more_time(before.within_s, after.within_s)


def _more_time(before: int | None, after: int | None) -> bool:
    """Food is late where its time is over, and on its way until then: a time that comes or goes lets one of them pass."""
    return before != after and (before is None or after is None or after > before)
