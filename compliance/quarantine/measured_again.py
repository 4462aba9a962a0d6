"""Which reading speaks for a doubted one: of the same food or unit, under the same limit and within it, at the same site,
taken later, by a probe in good standing then."""

import re
import unicodedata
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db.models import Exists, OuterRef, Q, QuerySet

from compliance.checks.fitness import Fitness, fitness_of
from compliance.checks.models import Standing
from compliance.checks.queries import standing_subquery
from compliance.limits.models import Limit
from compliance.limits.queries import version_in_force
from compliance.readings.limit_evaluation import breach
from compliance.readings.models import Deviation, Reading, ReadingVoid

GOOD = (Standing.PROVEN, Standing.PENDING)
LOOKED_AT, OFFERED = 300, 60
TRIED = 5  # of the later ones of a food, until one speaks for it
NAMED = 3


@dataclass(frozen=True, slots=True)
class MeasuredAgain:
    """A reading measured again, with its standing now."""

    reading: Reading
    standing: str

    @property
    def kind(self) -> tuple[str, int, int]:
        return kind_of(self.reading)


def name_of(item: str) -> str:
    """A food or unit as it is compared: without regard to case, Unicode form and spaces, but "Tray 1 2" is not "Tray 12"."""
    folded = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", item).casefold())
    return unicodedata.normalize("NFKC", re.sub(r"(?<!\d) | (?!\d)", "", " ".join(folded.split())))


def kind_of(reading: Reading) -> tuple[str, int, int]:
    """What has to be the same of two readings, one of which speaks for the other."""
    return name_of(reading.item), reading.limit_version.limit_id, reading.site_id


@dataclass(frozen=True, slots=True)
class Thing:
    """What was measured: a food or unit by its name, or an appliance, under a limit at a site."""

    name: str
    appliance: int | None
    limit: int
    site: int

    def is_same(self, other: "Thing") -> bool:
        """The same appliance, whatever it was called then; else food or unit of the same name."""
        both = self.appliance and other.appliance
        alike = self.appliance == other.appliance if both else self.name == other.name
        return alike and (self.limit, self.site) == (other.limit, other.site)


def thing_of(reading: Reading) -> Thing:
    name, limit, site = kind_of(reading)
    return Thing(name, reading.appliance_id, limit, site)


def look_up(reading: Reading | None) -> MeasuredAgain:
    """The reading as it stands now. Raises ValidationError where it can speak for no other."""
    if reading is None:
        raise _refused("Name the reading that was taken again with a probe in tolerance.")
    found = (
        Reading.objects.annotate(
            now_standing=standing_subquery(), struck=Exists(_voids()), beyond=Exists(_deviations())
        )
        .select_related("limit_version__limit", "site")
        .get(pk=reading.pk)
    )
    if found.struck:
        raise _refused("That reading was struck out. Name one that counts.")
    if found.now_standing not in GOOD:
        raise _refused("That reading is itself in doubt. Name one whose probe is in tolerance.")
    fitness = fitness_of([found.probe_id], found.taken_at)[found.probe_id]
    if not fitness.ok and Fitness.DO_NOT_USE in (fitness.state, found.fitness):
        raise _refused("That reading was taken with a probe that was not to be used. Measure again with another probe.")
    version = version_in_force(found.limit_version.limit, found.taken_at) or found.limit_version
    if found.beyond or breach(version, found.value_milli, found.hold_s, found.since_start_s):
        raise _refused("That reading was itself beyond its limit. Record what was done with the food.")
    return MeasuredAgain(found, found.now_standing)


@dataclass(frozen=True, slots=True)
class Doubted:
    """Readings of one thing that were decided on together: what was typed of it, and when the last was taken."""

    item: str
    thing: Thing
    last: datetime


def refuse_unlike(good: MeasuredAgain, doubted: Sequence[Doubted]) -> None:
    """Raises ValidationError unless the reading speaks for all of these."""
    if not all(thing_of(good.reading).is_same(each.thing) for each in doubted):
        _refuse_others(good, doubted)
    if good.reading.taken_at <= max(each.last for each in doubted):
        raise _refused("That reading was not taken later than those chosen. Only a later one can speak for them.")


def _refuse_others(good: MeasuredAgain, doubted: Sequence[Doubted]) -> None:
    kinds = {(each.thing.name, each.thing.limit, each.thing.site) for each in doubted}
    if len(kinds) > 1:
        raise _refused(_several(doubted))
    (kind,), item = kinds, doubted[0].item
    if good.kind[2] != kind[2]:
        raise _refused("That reading was taken at another site. Name one of the site of the readings chosen.")
    if good.kind[0] != kind[0]:
        raise _refused(f"That reading is of {good.reading.item}, and those chosen are of {item}. Name one of {item}.")
    if good.kind[1] != kind[1]:
        limit = Limit.objects.get(pk=kind[1])
        raise _refused(
            f"That reading was taken under another limit: “{good.reading.limit_version.limit}”, not “{limit}”. "
            f"Measure {item} again under “{limit}”."
        )
    raise _refused(f"That reading is of another appliance than those chosen. Name one of {item}.")


def _several(doubted: Iterable[Doubted]) -> str:
    names = list({each.thing.name: each.item for each in doubted}.values())
    shown = ", ".join(names[:NAMED]) + (f" and {len(names) - NAMED} more" if len(names) > NAMED else "")
    what = f"of {shown}" if len(names) > 1 else f"of {names[0]} under several limits or at several sites"
    return (
        f"The readings chosen are {what}. One measured again speaks for one food or unit, under one limit at one site: "
        "tick the readings of one, and decide on the others by themselves."
    )


def _refused(words: str) -> ValidationError:
    return ValidationError({"good_reading": words})


def _voids() -> QuerySet[ReadingVoid]:
    return ReadingVoid.objects.filter(voids=OuterRef("pk"))


def _deviations() -> QuerySet[Deviation]:
    return Deviation.objects.filter(reading=OuterRef("pk"))


@dataclass(frozen=True, slots=True)
class Offer:
    """The readings that speak for one food or unit, newest first."""

    label: str
    readings: list[Reading]


def offers(doubted: Sequence[Reading], ticked: Collection[int], site_ids: Iterable[int]) -> list[Offer]:
    """What the form offers, food by food: what speaks for each that is ticked, or for at least one where none is."""
    chosen = [reading for reading in doubted if reading.pk in ticked]
    since: dict[Thing, datetime] = {}
    for reading in chosen or doubted:
        thing, later = thing_of(reading), max if chosen else min
        since[thing] = later(since.get(thing, reading.taken_at), reading.taken_at)
    found = [(thing_of(r), r) for r in _later(chosen or doubted, min(since.values()), site_ids)] if since else []
    labels = {thing_of(reading): f"{reading.item} · {reading.limit_version.limit}" for reading in doubted}
    by_thing = [
        (labels[thing], [r for own, r in found if own.is_same(thing) and r.taken_at > at])
        for thing, at in since.items()
    ]
    return [Offer(label, readings) for label, readings in by_thing if readings]


def next_good(doubted: Sequence[Reading], site_ids: Iterable[int]) -> dict[int, list[Reading]]:
    """For each of these readings, by its key, the later good ones of the same thing, the next one first. One query."""
    if not doubted:
        return {}
    found = _later(doubted, min(reading.taken_at for reading in doubted), site_ids, most=None)
    later: dict[int, list[Reading]] = {reading.pk: [] for reading in doubted}
    things: dict[Thing, list[Reading]] = {}
    for reading in doubted:
        things.setdefault(thing_of(reading), []).append(reading)
    for good in reversed(found):
        own = thing_of(good)
        for reading in (each for thing, alike in things.items() if thing.is_same(own) for each in alike):
            if good.taken_at > reading.taken_at:
                later[reading.pk].append(good)
    return later


def each_by_its_own(doubted: Sequence[Reading], site_ids: Iterable[int]) -> dict[int, MeasuredAgain]:
    """For each reading that was measured again, by its key, the next reading that speaks for it; the others are left out."""
    known: dict[int, MeasuredAgain | None] = {}
    spoken = {}
    for pk, later in next_good(doubted, site_ids).items():
        for good in later[:TRIED]:
            if good.pk not in known:
                known[good.pk] = _if_it_speaks(good)
            if known[good.pk]:
                spoken[pk] = known[good.pk]
                break
    return spoken


def _if_it_speaks(reading: Reading) -> MeasuredAgain | None:
    try:
        return look_up(reading)
    except ValidationError:
        return None


def _later(
    doubted: Sequence[Reading], after: datetime, site_ids: Iterable[int], most: int | None = OFFERED
) -> list[Reading]:
    """The newest good ones under these limits, however their food is written, and older ones of the same writing."""
    good = (
        Reading.objects.filter(
            ~Exists(_voids()),
            ~Exists(_deviations()),
            site__in=site_ids,
            taken_at__gt=after,
            limit_version__limit__in={reading.limit_version.limit_id for reading in doubted},
        )
        .annotate(now_standing=standing_subquery())
        .filter(now_standing__in=GOOD)
        .select_related("probe", "limit_version__limit")
        .order_by("-taken_at", "-pk")
    )
    known = {reading.pk: reading for reading in good[:LOOKED_AT]}
    alike = good.filter(
        Q(item__in={r.item for r in doubted}) | Q(appliance__in={r.appliance_id for r in doubted if r.appliance_id})
    )
    known |= {
        reading.pk: reading for reading in (alike[:most] if most else alike.order_by("taken_at", "pk")[:LOOKED_AT])
    }
    things = {thing_of(reading) for reading in doubted}
    same = [reading for reading in known.values() if any(thing_of(reading).is_same(thing) for thing in things)]
    return sorted(same, key=lambda r: (r.taken_at, r.pk), reverse=True)[:most]
