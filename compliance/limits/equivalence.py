"""Time at temperature: which limits let a longer time stand for a lower temperature, and which readings do."""

from compliance.metrology.lethality import LONGEST_HOLD, is_traded
from compliance.metrology.lethality import demand as demand_of_a_hold

from .models import Direction, LimitVersion


def trades_time(version: LimitVersion) -> bool:
    """Whether a longer time may stand for a lower temperature under this limit, and the other way round."""
    at_least = version.direction == Direction.AT_LEAST
    return is_traded(at_least, version.value_milli, version.hold_s) and version.hold_s <= LONGEST_HOLD


def is_equivalent(version: LimitVersion, milli: int, hold_s: int | None) -> bool:
    """Whether food that was colder or held shorter than the limit asks has had as much heat, by the strictest published trade."""
    if hold_s is None or not trades_time(version):
        return False
    as_written = milli >= version.value_milli and hold_s >= version.hold_s
    kept = demand_of_a_hold(version.value_milli, version.hold_s, hold_s).kept
    return not as_written and kept is not None and milli >= kept
