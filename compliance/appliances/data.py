"""What somebody says of an appliance that was not in use."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, kw_only=True)
class OutOfUseData:
    """From now on where nothing else is said, until it is back."""

    why: str
    starts_at: datetime | None = None
    ends_at: datetime | None = None
    note: str = ""
