"""What somebody says of a limit that a site sets or adopts."""

from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True, kw_only=True)
class OwnFigures:
    """In place of those of a rule; None leaves the rule's own."""

    value: Decimal | None = None
    hold_s: int | None = None
    within_s: int | None = None
    target_milli: int | None = None


@dataclass(frozen=True, kw_only=True)
class OwnLimit:
    """A limit of the site's own; without a `code` it gets one from its title."""

    code: str
    step: str
    title: str
    hazard: str
    direction: str
    value: Decimal
    unit: str
    usual_action: str
    hold_s: int | None = None
    within_s: int | None = None
    target_milli: int | None = None
    source: str = ""
    edition: str = ""
