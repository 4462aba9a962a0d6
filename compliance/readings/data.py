"""What somebody says of a reading, and of what was done about one that did not meet its limit."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from compliance.appliances.models import Appliance
from compliance.limits.models import Limit
from compliance.probes.models import Probe
from sites.models import Person, Site


@dataclass(frozen=True, kw_only=True)
class ReadingData:
    """Without `taken_by` whoever records it took it. `used_despite`: why a probe that is not to be used was used all the same;
    for any other it is not kept. `phone`: where one kept it without network, its time (shared/phone_time.py)."""

    key: str | UUID
    probe: Probe
    site: Site
    limit: Limit
    item: str
    typed: str
    unit: str
    taken_at: datetime
    taken_by: Person | None = None
    appliance: Appliance | None = None
    hold_s: int | None = None
    since_start_s: int | None = None
    note: str = ""
    used_despite: str = ""
    phone: dict | None = None


@dataclass(frozen=True, kw_only=True)
class ActData:
    """A corrective action. Without `decided_by` whoever records it decided on it."""

    action: str
    cause: str
    disposition: str
    done_at: datetime
    note: str = ""
    decided_by: Person | None = None
