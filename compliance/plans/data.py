"""What somebody sets: when probes are checked, when readings are taken, and which days are not worked."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, time

from compliance.probes.models import Probe
from sites.models import Area, Business, Site

from .schedule import ALL_WEEK, EVERY_DAYS

FIGURES = ("pattern", "every_days", "weekdays", "at", "before_service", "minutes_before", "grace_minutes")


@dataclass(frozen=True, kw_only=True)
class PlanData:
    """The plan of a probe, or of those of a site or a business (of one kind, with `sensor`), from a day on, today if none.

    `after`: the newest plan of this scope that was shown. `in_force` False gives the next wider plan its place again.
    """

    probe: Probe | None = None
    site: Site | None = None
    business: Business | None = None
    sensor: str = ""
    pattern: str = EVERY_DAYS
    every_days: int = 7
    weekdays: int = 0
    at: time = time(9)
    before_service: bool = False
    minutes_before: int = 30
    grace_minutes: int = 120
    effective_from: date | None = None
    in_force: bool = True
    reason: str = ""
    after: int | None = None

    @property
    def scope(self) -> dict:
        """Whose plan it is."""
        return {"probe": self.probe, "site": self.site, "business": self.business, "sensor": self.sensor}

    @property
    def figures(self) -> dict:
        return {name: getattr(self, name) for name in FIGURES}


@dataclass(frozen=True, kw_only=True)
class RoundData:
    """Rounds from a day on, today if none; `in_force` False: no more of them. `after`: the newest that was shown."""

    times: Sequence[time] = ()
    every_minutes: int | None = None
    weekdays: int = ALL_WEEK
    grace_minutes: int = 30
    effective_from: date | None = None
    in_force: bool = True
    reason: str = ""
    after: int | None = None


@dataclass(frozen=True, kw_only=True)
class ClosureData:
    """Days, both included, on which a site, all sites of an area or of a business do not work."""

    first_day: date
    last_day: date
    why: str
    site: Site | None = None
    area: Area | None = None
    business: Business | None = None

    @property
    def scope(self) -> dict:
        """Which sites are closed; one of the three is named."""
        return {"site": self.site, "area": self.area, "business": self.business}
