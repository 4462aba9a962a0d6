"""Ten sites with half a year of checks and readings by the actions that people use: `tests.multiply` makes thousands of them.

They live as the sites of the demo do. Fewer readings are taken, so that 5,000 sites have about two million. One probe's
case is open, one is decided and signed; a few deviations are open.
"""

from datetime import datetime, time, timedelta
from unittest import mock
from uuid import UUID

from django.db import transaction

from compliance.overview.demo import days, load, planning, setting
from compliance.overview.demo.days import DailyRound
from compliance.overview.demo.scenario import ProbeStory, Scenario, SiteStory
from compliance.overview.demo.setting import Setting
from compliance.readings import actions as readings
from compliance.readings.data import ReadingData
from shared import clock
from shared.units import Unit
from sites import actions as sites
from sites.models import Area, Role

FIRST_AREA = "Northfold"
NAMES = (
    "Ashwick",
    "Beckside",
    "Corrin",
    "Dunmore",
    "Eskdale",
    "Farlow",
    "Greenhay",
    "Holmbridge",
    "Inglewick",
    "Kerrow",
)
HOMES = {1, 4, 6, 8}
BEARERS = ("Wren", "Asta", "Bram", "Cleo", "Dara", "Ebba", "Finn", "Gwen", "Hale", "Iris")
PROBES = (
    ("store", "thermistor", -0.08),
    ("cook", "thermocouple_k_2", 0.21),
    ("hot", "thermistor", 0.13),
    ("spare", "pt100_b", -0.1),
    ("store", "thermocouple_k_2", 0.3),
)
CLOSED = {"kind": "dropped", "days_ago": 46, "step": 1.7, "repaired": True, "decided": True, "signed": True}
STORIES = {
    (1, 1): CLOSED,
    (3, 2): {"kind": "dropped", "days_ago": 9, "step": -1.6, "repaired": True},  # its case is open
    (5, 0): {"kind": "drifting", "slope": 0.004, "start": 0.0},
    (7, 2): {"kind": "withdrawn", "days_ago": 25},
    (9, 3): {"forgotten": 8},
}
# What is measured each day, and asked for by the rounds.
DAILY = {
    "ROUNDS": (
        DailyRound(time(7, 20), "store", "chill-store", ("Walk-in chiller", "Dairy fridge"), 3.4, 0.9),
        DailyRound(time(7, 25), "store", "frozen-storage", ("Chest freezer",), -20.2, 0.9),
        DailyRound(time(11, 35), "cook", "cook-75c", ("Bean stew", "Fish bake", "Leek tart"), 80.0, 2.6, 30, every=2),
    ),
    "SUPPER": (),
    "ALL_DAY": (),
}
MORNING = {"chill-store": {"times": [time(7, 30)]}, "frozen-storage": {"times": [time(7, 30)]}}
ASKED = {"ROUNDS": MORNING, "AT_HOMES": MORNING, "SOONER": {}}
TOO_WARM = (("Dairy fridge", "9.4", 70), ("Walk-in chiller", "8.8", 25))  # and how many minutes ago


def scenario() -> Scenario:
    return Scenario(
        business="Fennmarsh Catering",
        time_zone="Europe/London",
        country="GB",
        subdivision="ENG",
        rule_set="united-kingdom",
        supervisors={FIRST_AREA: "Tove Ransell"},
        head="Maud Ostergate",
        reader="Ivo Caddick",
        sites=tuple(map(_site, range(len(NAMES)))),
        probes=tuple(_probe(site, number) for site in range(len(NAMES)) for number in range(5 - site % 2)),
    )


def _site(number: int) -> SiteStory:
    name, bearer = NAMES[number], BEARERS[number]
    kind = "home" if number in HOMES else "school"
    address = f"{number + 3} Tollgate Lane, {name}"
    return SiteStory(
        FIRST_AREA, f"{name} Kitchen", kind, address, 20 + 30 * number, f"{bearer} Hallam", f"{bearer} Sorrel"
    )


def _probe(site: int, number: int) -> ProbeStory:
    use, sensor, error = PROBES[number]
    return ProbeStory(
        site=f"{NAMES[site]} Kitchen",
        code=f"{NAMES[site][:2].upper()}-{number + 1}",
        use=use,
        description=f"For {use}",
        sensor=sensor,
        resolution_milli=100,
        stem_diameter_mm=3.5,
        error=round(error + site * 0.01, 2),
        behaviour=STORIES.get((site, number), {}),
    )


def build(now: datetime) -> Setting:
    """The rules are to be there. It ends at `now`."""
    fewer = (
        mock.patch.object(load, "load_scenario", scenario),
        mock.patch.multiple(days, **DAILY),
        mock.patch.multiple(planning, **ASKED),
    )
    with fewer[0], fewer[1], fewer[2]:
        made = load.load_demo(now)
    _break_limits(made, now)
    return made


def _break_limits(made: Setting, now: datetime) -> None:
    """Two deviations that nobody has acted on yet."""
    name = next(iter(made.sites))
    for number, (item, typed, minutes_ago) in enumerate(TOO_WARM):
        at = now - timedelta(minutes=minutes_ago)
        data = ReadingData(
            key=UUID(int=number + 1, version=4),
            probe=made.probes["AS-1"],
            site=made.sites[name],
            limit=made.limits[name, "chill-store"],
            item=item,
            typed=typed,
            unit=Unit.CELSIUS,
            taken_at=at,
            used_despite="The other one was in use.",  # its check may be due today
        )
        with clock.pretend(at + timedelta(seconds=40)):
            readings.record(by=made.cooks[name], data=data)


@transaction.atomic
def add_areas(made: Setting, names: list[str]) -> list[int]:
    """Areas beside the first, each with its supervisor; who supervises everything has these too. Gives the keys of all."""
    with clock.pretend(made.begins):
        for name in names:
            area = sites.add_area(by=None, business=made.business, name=name)
            setting._add_person(f"Vera {name}", Role.SUPERVISOR, supervisor_of(name), by=None, area=area)
            sites.grant(by=None, person=made.head, role=Role.SUPERVISOR, area=area)
    return list(Area.objects.order_by("pk").values_list("pk", flat=True))


def supervisor_of(area: str) -> str:
    """Their e-mail. They sign in as everybody does here."""
    return f"{area.lower()}@quillwood.example"
