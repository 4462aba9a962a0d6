"""The readings of half a year, kitchen by kitchen: what the food really had, shown by whichever probe was at hand."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from random import Random
from uuid import UUID

from compliance.appliances.models import Appliance
from compliance.limits.models import LimitVersion
from compliance.plans.calendar import DAY, instant
from compliance.readings.keys import form_key
from compliance.readings.limit_evaluation import breach, read_typed
from compliance.readings.models import Deviation, Reading
from shared.units import Unit

from .lives import Life
from .scenario import SiteStory
from .setting import Setting

BATCH = 1000
MISHAPS = 0.012  # share of readings where a door stood open or a dish came out early


@dataclass(frozen=True, slots=True)
class DailyRound:
    """Something measured at a time of day: which rule, on what, how warm it usually is and how much that varies.

    `every` so many days, on so many `dishes` of the items; what is stored is measured in each of its places.
    """

    at: time
    use: str
    rule: str
    items: tuple[str, ...]
    truth: float
    scatter: float
    hold_s: int | None = None
    every: int = 1
    dishes: int = 1


ROUNDS = (
    DailyRound(time(7, 20), "store", "chill-store", ("Walk-in chiller", "Dairy fridge"), 3.4, 0.9),
    DailyRound(time(7, 25), "store", "frozen-storage", ("Chest freezer",), -20.2, 0.9),
    DailyRound(time(14, 50), "store", "chill-store", ("Walk-in chiller", "Dairy fridge"), 4.1, 1.0),
    DailyRound(
        time(9, 10), "store", "delivery-chilled", ("Milk and yoghurt", "Cooked ham", "Fresh fish"), 4.4, 1.1, every=2
    ),
    DailyRound(
        time(11, 35),
        "cook",
        "cook-75c",
        ("Chicken casserole", "Shepherd's pie", "Lentil bake", "Salmon fillets"),
        80.0,
        2.6,
        30,
    ),
    DailyRound(
        time(11, 50), "cook", "cook-75c", ("Roast turkey", "Beef stew", "Vegetable lasagne", "Sausages"), 81.0, 2.9, 30
    ),
    DailyRound(
        time(12, 20), "hot", "hot-holding", ("Mashed potato", "Gravy", "Rice", "Soup of the day"), 69.5, 2.3, dishes=2
    ),
    DailyRound(time(12, 25), "hot", "cook-75c", ("Tomato sauce", "Custard", "Rice pudding"), 83.0, 2.8, every=3),
)
SUPPER = (
    DailyRound(time(17, 5), "cook", "cook-75c", ("Omelette", "Fish pie", "Chicken soup"), 80.5, 2.7, 30),
    DailyRound(time(17, 20), "hot", "hot-holding", ("Soup of the day", "Baked beans"), 69.0, 2.2),
)
# At the homes the cold stores are looked at every four hours.
ALL_DAY = (
    DailyRound(time(10, 55), "store", "chill-store", ("Walk-in chiller", "Dairy fridge"), 3.8, 0.9),
    DailyRound(time(18, 50), "store", "chill-store", ("Walk-in chiller", "Dairy fridge"), 3.9, 0.9),
)
HELD_HOT = "Hot cupboard"  # whatever stands in it


def write_days(setting: Setting, lives: dict[str, Life]) -> int:
    """Store every reading and the deviations they open; gives how many readings there are."""
    versions = _versions(setting)
    written, batch = 0, []
    for story in setting.scenario.sites:
        chance = Random(story.name)
        for reading in _readings(setting, story, lives, versions, chance):
            batch.append(reading)
            if len(batch) == BATCH:
                written += _store(batch)
                batch = []
    return written + _store(batch)


def _versions(setting: Setting) -> dict[tuple[str, str], LimitVersion]:
    keys = {limit.pk: key for key, limit in setting.limits.items()}
    found = LimitVersion.objects.filter(limit__in=keys).order_by("effective_from", "pk")
    return {keys[version.limit_id]: version for version in found}


def _readings(setting, story: SiteStory, lives, versions, chance: Random) -> Iterator[Reading]:
    here = [life for life in lives.values() if story.name in {life.story.site, *(name for _, name in life.moves)}]
    kinds = (*ROUNDS, *SUPPER, *ALL_DAY) if story.serves_daily else ROUNDS
    for number in range(1, setting.days + 1):
        day = setting.today - DAY * (setting.days - number)
        if not setting.works(story.name, day):
            continue
        for kind in kinds:
            if number % kind.every:
                continue
            hour = Hour(setting, story, versions[story.name, kind.rule], instant(day, kind.at, setting.zone), chance)
            yield from _round(hour, here, kind)


@dataclass(frozen=True)
class Hour:
    """One round of readings at one site: under which limit, and when."""

    setting: Setting
    story: SiteStory
    version: LimitVersion
    at: datetime
    chance: Random


def _round(hour: Hour, here: list[Life], kind: DailyRound) -> Iterator[Reading]:
    chance = hour.chance
    stored = kind.use == "store" and kind.rule != "delivery-chilled"
    items = kind.items if stored else chance.sample(kind.items, kind.dishes)
    for item in items:
        taken_at = hour.at + timedelta(seconds=chance.randrange(0, 700))
        truth, hold = chance.gauss(kind.truth, kind.scatter), kind.hold_s and kind.hold_s + chance.randrange(0, 60, 5)
        if chance.random() < MISHAPS:
            truth += 5.5 if kind.use == "store" else -8.5
        life = _at_hand(here, kind.use, hour.story.name, taken_at)
        appliance = hour.setting.appliances.get((hour.story.name, HELD_HOT if kind.rule == "hot-holding" else item))
        away = any(e.appliance == appliance and e.starts_at <= taken_at < e.ended_at for e in hour.setting.out_of_use)
        if taken_at >= hour.setting.now or life is None or chance.random() < 0.02 or away:
            continue
        life.used_at = taken_at
        yield _reading(hour, life, Measured(item, appliance, truth, hold), taken_at)


def _at_hand(here: list[Life], use: str, site: str, at: datetime) -> Life | None:
    """Of the probes meant for this use, else the spares, else any other in use at the site, the one used longest ago.

    One that is new to the site comes first.
    """
    able = [life for life in here if life.site_at(at) == site and life.in_use(at)]
    order = {use: 0, "spare": 1}
    ranks = {life.story.code: (order.get(life.story.use, 2), life.story.site == site) for life in able}
    nearest = [life for life in able if ranks[life.story.code] == min(ranks.values())]
    return min(nearest, key=lambda life: life.used_at, default=None)


@dataclass(frozen=True, slots=True)
class Measured:
    """What was measured, where it is or stands in an appliance, how warm it truly was, and how long it was held."""

    item: str
    appliance: Appliance | None
    truth: float
    hold_s: int | None


def _reading(hour: Hour, life: Life, found: Measured, taken_at: datetime) -> Reading:
    setting, story, chance = hour.setting, hour.story, hour.chance
    typed = life.instrument.shows(found.truth, taken_at)
    by = (setting.cooks if chance.random() < 0.75 else setting.managers)[story.name]
    return Reading(
        key=form_key(setting.sites[story.name].pk, UUID(int=chance.getrandbits(128), version=4)),
        probe=life.probe,
        site=setting.sites[story.name],
        limit_version=hour.version,
        appliance=found.appliance,
        item=found.item,
        typed=typed,
        unit=Unit.CELSIUS,
        value_milli=read_typed(typed, Unit.CELSIUS),
        hold_s=found.hold_s,
        taken_at=taken_at,
        taken_by=by,
        recorded_by=by,
        recorded_at=taken_at + timedelta(seconds=40),
    )


def _store(batch: list[Reading]) -> int:
    stored = Reading.objects.bulk_create(batch)
    found = [(r, breach(r.limit_version, r.value_milli, r.hold_s)) for r in stored]
    Deviation.objects.bulk_create(
        [Deviation(reading=r, why=why, recorded_by=r.recorded_by, recorded_at=r.recorded_at) for r, why in found if why]
    )
    return len(stored)
