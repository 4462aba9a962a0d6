"""The kinds of check, a module each. Whoever asks what a kind is or does asks here; only its own module names it."""

from ..models import Check, CheckDraft, ProbeState
from .base import CheckData, KindOfCheck
from .boiling import BoilingCheck
from .certificate import CertificateCheck
from .steps import Guidance
from .zero import ZeroCheck

# The usual one comes first: by it probes are checked day by day, and several share its bath.
KINDS: dict[str, KindOfCheck] = {kind.value: kind for kind in (ZeroCheck(), BoilingCheck(), CertificateCheck())}
USUAL = next(iter(KINDS.values()))
GUIDANCE: dict[str, Guidance] = {value: kind.guidance for value, kind in KINDS.items() if kind.guidance}
# Those that speak for temperatures away from zero alone.
AWAY_FROM_ZERO = tuple(value for value, kind in KINDS.items() if not kind.may_clear)


def kind_of(record: Check | CheckDraft | CheckData) -> KindOfCheck:
    return KINDS[record.kind]


def of_the_same_points(kind: KindOfCheck) -> list[str]:
    """The kinds that may speak for an end of the scale that this one may speak for."""
    return [value for value, other in KINDS.items() if kind.points & other.points]


def check_wanted(away: bool) -> Guidance:
    """How to make one that is asked for: at boiling where it is to be `away` from zero, where no check at zero tells anything."""
    return next(guidance for value, guidance in GUIDANCE.items() if (value in AWAY_FROM_ZERO) == away)


def wanted_check(state: ProbeState | None) -> Guidance:
    """How to make the check that a probe is due for; at zero where nothing is kept of it yet."""
    return check_wanted(bool(state and state.away))
