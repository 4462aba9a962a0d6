"""What can be said of a reading in quarantine, from what its limit demands and what is known of its probe. No database."""

from dataclasses import dataclass, replace

from compliance.limits.equivalence import trades_time
from compliance.limits.models import LimitVersion
from compliance.metrology.assessment import EVER, DecisionRanges, ErrorBounds, in_time, telling
from compliance.metrology.lethality import LONGEST_HOLD, demand
from compliance.metrology.vocabulary import Direction, Outcome


@dataclass(frozen=True, slots=True)
class OutcomeInput:
    """A reading as far as its outcome goes: milli-°C, and in s how long it was held and since when it cooled or heated."""

    milli: int
    hold_s: int | None = None
    since_start_s: int | None = None


def telling_of(version: LimitVersion, hold_s: int | None, error: ErrorBounds) -> DecisionRanges:
    """Which readings tell that this limit held or was broken, of food held for `hold_s` (None: not recorded)."""
    direction = Direction(version.direction)
    if not version.hold_s:
        return telling(version.value_milli, direction, error)
    if not trades_time(version):
        return _of_both(version, hold_s, error)
    needed = demand(version.value_milli, version.hold_s, LONGEST_HOLD if hold_s is None else hold_s)
    return telling(needed.kept if hold_s is not None else None, direction, error, needed.missed)


def _of_both(version: LimitVersion, hold_s: int | None, error: ErrorBounds) -> DecisionRanges:
    """A temperature and a time, neither of which makes up for the other; a time too short breaks the limit by itself."""
    if hold_s is not None and hold_s < version.hold_s:
        return DecisionRanges(1, 0, -EVER, EVER)
    known = telling(version.value_milli, Direction(version.direction), error)
    return known if hold_s is not None else replace(known, held_from=1, held_to=0)


def outcome_of(version: LimitVersion, measured: OutcomeInput, error: ErrorBounds) -> Outcome:
    """What can be said of one reading; the database says the same of every one of a case (see `assessing`)."""
    told = telling_of(version, measured.hold_s, error).of(measured.milli)
    return in_time(told, measured.since_start_s, version.within_s)
