"""How each kind of check is made, step by step: what a phone in the kitchen shows."""

from ..models import Kind, ProbeState
from .boiling import BOILING
from .ice import ICE
from .steps import Guidance

GUIDANCE: dict[str, Guidance] = {Kind.ZERO: ICE, Kind.BOILING: BOILING}
FAILED_AT_BOILING = "out of tolerance at its last boiling check"


def wanted_check(state: ProbeState | None) -> Guidance:
    """The check that a probe is due for: at boiling where it failed there, which no check at zero can cure; else at zero."""
    return BOILING if state and state.due_because == FAILED_AT_BOILING else ICE
