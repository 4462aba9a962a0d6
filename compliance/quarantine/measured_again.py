"""Which reading speaks for a doubted one: of the same food or unit, under the same limit and within it, at the same site,
taken later, by a probe in good standing then."""

import re
import unicodedata
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db.models import Exists, OuterRef, QuerySet

from compliance.checks.fitness import Fitness, fitness_of
from compliance.checks.models import Standing
from compliance.checks.queries import standing_subquery
from compliance.limits.models import Limit
from compliance.limits.queries import version_in_force
from compliance.readings.limit_evaluation import breach
from compliance.readings.models import Deviation, Reading, ReadingVoid

GOOD = (Standing.PROVEN, Standing.PENDING)
LOOKED_AT, OFFERED = 300, 60
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


def refuse_unlike(good: MeasuredAgain, doubted: Sequence[tuple[str, int, int, datetime]]) -> None:
    """Raises ValidationError unless the reading speaks for all of these: (food or unit, limit, site, last taken) each."""
    kinds = {(name_of(item), limit, site) for item, limit, site, _ in doubted}
    if len(kinds) > 1:
        raise _refused(_several(doubted))
    (kind,), item = kinds, doubted[0][0]
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
    if good.reading.taken_at <= max(last for *_, last in doubted):
        raise _refused("That reading was not taken later than those chosen. Only a later one can speak for them.")


def _several(doubted: Iterable[tuple[str, int, int, datetime]]) -> str:
    names = list({name_of(item): item for item, *_ in doubted}.values())
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
    since: dict[tuple, datetime] = {}
    for reading in chosen or doubted:
        kind, later = kind_of(reading), max if chosen else min
        since[kind] = later(since.get(kind, reading.taken_at), reading.taken_at)
    found = _later(chosen or doubted, min(since.values()), site_ids) if since else []
    labels = {kind_of(reading): f"{reading.item} · {reading.limit_version.limit}" for reading in doubted}
    by_kind = [
        (labels[kind], [r for r in found if kind_of(r) == kind and r.taken_at > at]) for kind, at in since.items()
    ]
    return [Offer(label, readings) for label, readings in by_kind if readings]


def _later(doubted: Sequence[Reading], after: datetime, site_ids: Iterable[int]) -> list[Reading]:
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
    known |= {reading.pk: reading for reading in good.filter(item__in={r.item for r in doubted})[:OFFERED]}
    names = {name_of(reading.item) for reading in doubted}
    same = [reading for reading in known.values() if name_of(reading.item) in names]
    return sorted(same, key=lambda r: (r.taken_at, r.pk), reverse=True)[:OFFERED]
