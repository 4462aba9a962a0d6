"""Checks at boiling in the kitchens that lie high: once a month or so, for the probes that go into hot food."""

from datetime import datetime, timedelta
from random import Random
from uuid import UUID

from compliance.checks import actions as checks
from compliance.checks.kinds.boiling import BoilingData
from compliance.checks.models import Check, Stage
from compliance.metrology.air_pressure import PressureLevel, PressureSource, Surroundings
from compliance.metrology.boiling import BoilingKind, BoilingPoint, BoilingPreparation
from compliance.metrology.steam import saturation_temperature, station_pressure
from compliance.probes.models import Probe
from shared import clock
from sites.models import Person, Site

from .physics import SimulatedProbe
from .scenario import ProbeStory

HIGH = 300  # m, from where a kitchen of this business has a barometer on the wall
EVERY = 4  # of the weekly mornings
WEATHER = 700  # Pa, how much the pressure at sea level varies
HOT_USES = ("cook", "hot")
PANS = {
    True: BoilingPreparation(kind=BoilingKind.STEAM, points=frozenset(BoilingPoint)),
    False: BoilingPreparation(kind=BoilingKind.ROLLING, points=frozenset(set(BoilingPoint) - {BoilingPoint.COVERED})),
}


def boils(story: ProbeStory, altitude: float, morning: int) -> bool:
    """Whether this probe is checked at boiling too, on this of its weekly mornings."""
    return altitude >= HIGH and story.use in HOT_USES and story.kind == "steady" and morning % EVERY == 2


def boil(probe: Probe, site: Site, by: Person, instrument: SimulatedProbe, at: datetime) -> Check:
    """A check at boiling after the one in ice; the pressure is a barometer's or now and then a weather report's."""
    chance = Random(f"{probe.code} {at:%Y-%m-%d}")
    at_sea = round(chance.gauss(101_325, WEATHER), -2)
    here = station_pressure(at_sea, site.altitude_m)
    report = chance.random() < 0.25
    source, shown = (PressureSource.SEA_LEVEL, at_sea) if report else (PressureSource.STATION, round(here, -2))
    level = PressureLevel.SEA_LEVEL if report else PressureLevel.HERE
    readings = instrument.in_boiling(at, saturation_temperature(here), chance)
    with clock.pretend(at + timedelta(minutes=2)):
        data = BoilingData(
            key=UUID(int=chance.getrandbits(128), version=4),
            site=site,
            stage=Stage.AS_FOUND,
            checked_at=at,
            preparation=PANS[chance.random() < 0.4],
            surroundings=Surroundings(source=source, pressure=shown, altitude=float(site.altitude_m), level=level),
            typed_pressure=(f"{shown / 100:.0f}", "hPa"),
            readings=readings,
            immersion_mm=chance.choice([60, 70, 80]),
        )
        return checks.record(by=by, probe=probe, data=data)
