"""What a check is held against: a temperature, what makes it uncertain, and whether it can serve at all."""

from dataclasses import dataclass

from .uncertainty import Component
from .vocabulary import Medium


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """A known temperature in a medium.

    `temperature` in °C; `within` in °C, the half-width that words give it; `components` its lines of the budget in °C;
    `usable` whether it can serve at all; `why` sentences, the first saying what it stands for; `again` the sentence that
    says how to make it better.
    """

    temperature: float
    within: float
    components: tuple[Component, ...]
    medium: Medium
    usable: bool
    why: tuple[str, ...]
    again: str
