"""What can be said of a reading in quarantine, from what its limit demands and what is known of its probe. No database."""

from dataclasses import dataclass

from compliance.limits.models import LimitVersion
from compliance.metrology.assessment import DecisionRanges, ErrorBounds, in_time, telling
from compliance.metrology.lethality import LONGEST_HOLD, demand, is_traded
from compliance.metrology.vocabulary import Direction, Outcome


@dataclass(frozen=True, slots=True)
class OutcomeInput:
    """A reading as far as its outcome goes: milli-°C, and in s how long it was held and since when it cooled or heated."""

    milli: int
    hold_s: int | None = None
    since_start_s: int | None = None


def trades_time(version: LimitVersion) -> bool:
    """Whether a longer time may stand for a lower temperature under this limit, and the other way round."""
    at_least = Direction(version.direction) is Direction.AT_LEAST
    return is_traded(at_least, version.value_milli, version.hold_s) and version.hold_s <= LONGEST_HOLD


def telling_of(version: LimitVersion, hold_s: int | None, error: ErrorBounds) -> DecisionRanges:
    """Which readings tell that this limit held or was broken, of food held for `hold_s` (None: not recorded)."""
    direction = Direction(version.direction)
    if hold_s is None or not trades_time(version):
        return telling(version.value_milli, direction, error)
    needed = demand(version.value_milli, version.hold_s, hold_s)
    return telling(needed.kept, direction, error, needed.missed)


def outcome_of(version: LimitVersion, measured: OutcomeInput, error: ErrorBounds) -> Outcome:
    """What can be said of one reading; the database says the same of every one of a case (see `assessing`)."""
    told = telling_of(version, measured.hold_s, error).of(measured.milli)
    return in_time(told, measured.since_start_s, version.within_s)
