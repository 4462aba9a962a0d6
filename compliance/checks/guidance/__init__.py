"""How each kind of check is made, step by step: what a phone in the kitchen shows."""

from ..models import Kind
from .boiling import BOILING
from .ice import ICE
from .steps import Guidance

GUIDANCE: dict[str, Guidance] = {Kind.ZERO: ICE, Kind.BOILING: BOILING}
__all__ = ["GUIDANCE", "Guidance"]
