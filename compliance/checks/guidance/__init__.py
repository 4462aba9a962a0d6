"""How each kind of check is made, step by step: what a phone in the kitchen shows."""

from ..models import Kind, ProbeState
from .boiling import BOILING
from .ice import ICE
from .steps import Guidance

GUIDANCE: dict[str, Guidance] = {Kind.ZERO: ICE, Kind.BOILING: BOILING}


def check_wanted(away: bool) -> Guidance:
    """How to make one that is asked for: at boiling where it is to be `away` from zero, where no check at zero tells anything."""
    return BOILING if away else ICE


def wanted_check(state: ProbeState | None) -> Guidance:
    """How to make the check that a probe is due for; at zero where nothing is kept of it yet."""
    return check_wanted(bool(state and state.away))
