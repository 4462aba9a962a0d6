"""Readings as a file of the same shape that comes in, so that bringing it back adds nothing."""

import csv
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime, timedelta
from io import StringIO
from itertools import islice
from typing import NamedTuple

from django.db.models import Max, Min, OuterRef, QuerySet, Subquery, TextField
from django.db.models.functions import Cast

from compliance.appliances.models import Appliance
from compliance.checks.queries import standing_subquery
from compliance.limits.models import LimitVersion
from compliance.limits.wording import demand
from compliance.probes.models import Probe
from shared.dated import DatedModel
from shared.key_lists import among
from shared.time_text import on_clock
from sites.models import Person, Site
from sites.names import name_at

from .importing.cells import guarded
from .importing.layout import COLUMNS, PASSED_OVER
from .models import Reading

ROWS = 2000  # fetched, and sent, at a time
SLICE = 50_000  # readings, about, for which the database is asked with one statement
FIRST_SLICE, SHORTEST_SLICE, MOST_MORE = timedelta(days=7), timedelta(minutes=1), 8
FACTS = (
    "site_id",
    "probe_id",
    "limit_version_id",
    "taken_by_id",
    "item",
    "typed",
    "unit",
    "hold_s",
    "since_start_s",
    "note",
    "used_despite",
    "fitness",
    "appliance_id",
)
SAID = ("pk", "deviation", "standing")
PK = len(FACTS)
# As the database writes them, which is read much quicker than what Django makes of them.
MOMENTS = Cast("taken_at", TextField()), Cast("recorded_at", TextField())


def csv_lines(readings: QuerySet[Reading], sites: Iterable[Site]) -> Iterator[str]:
    """The header and a line for each reading that is not void, the oldest first; a byte order mark for spreadsheets.

    Asked for slice by slice of their time, each from an index: none is sorted with all others, and no transaction is open for
    as long as somebody takes to fetch the file. What is entered meanwhile for a time that is over in the file is not in it.
    """
    sites = list(sites)
    named = _Named(sites)
    yield "\ufeff" + _lines([(*COLUMNS, *PASSED_OVER)])
    live = readings.live().select_related(None).order_by("taken_at", "pk").annotate(standing=standing_subquery())
    since, until = _bounds(sites)
    step = FIRST_SLICE
    while since and since <= until:
        within, count = {"taken_at__gte": since, "taken_at__lt": since + step}, 0
        found = live.filter(**within).values_list(*FACTS, *SAID, *MOMENTS).iterator(chunk_size=ROWS)
        while rows := list(islice(found, ROWS)):
            count += len(rows)
            named.look_up(rows)
            fates = _fates(row[PK] for row in rows)
            yield _lines(named.cells(row, fates.get(row[PK], "")) for row in rows)
        since += step
        step = max(SHORTEST_SLICE, step * min(MOST_MORE, SLICE / max(count, 1)))


def _bounds(sites: list[Site]) -> tuple[datetime | None, datetime | None]:
    """When the first and the last reading at any of these sites was taken, each site by its own index."""
    own = Reading.objects.filter(site=OuterRef("pk")).values("taken_at")
    first, last = (Subquery(own.order_by(order)[:1]) for order in ("taken_at", "-taken_at"))
    asked = Site.objects.filter(pk__in=among(site.pk for site in sites)).order_by()
    return tuple(asked.annotate(first=first, last=last).aggregate(Min("first"), Max("last")).values())


def _fates(readings: Iterable[int]) -> dict[int, str]:
    """What was decided last on these readings, by their keys."""
    decisions = Reading._meta.get_field("decisions").related_model.objects.current()
    return dict(decisions.filter(reading__in=among(readings)).order_by("-pk").values_list("reading", "fate"))


def _lines(rows: Iterable[Iterable]) -> str:
    text = StringIO(newline="")
    csv.writer(text).writerows(rows)
    return text.getvalue()


def _moment(text: str) -> datetime:
    """What a database wrote: ISO 8601 with an offset, or in UTC without."""
    at = datetime.fromisoformat(text)
    return at if at.tzinfo else at.replace(tzinfo=UTC)


class _Called(NamedTuple):
    """What the file says of a site, a probe or a person: as it is called now, so that the file is understood when it is brought
    back; and, by a function of the moment, as it was called then."""

    now: str
    then: Callable


class _Named:
    """What readings refer to by key, read once each, however many readings there are. Most were never called otherwise."""

    def __init__(self, sites: Iterable[Site]):
        sites = list(sites)
        names = site_names(sites)
        self._sites = {site.pk: _Called(guarded(names[site.pk]), _then(site, "name")) for site in sites}
        self._zones = {site.pk: site.zone for site in sites}
        self._probes: dict[int, _Called] = {}
        self._limits: dict[int, tuple[str, str]] = {}
        self._appliances = dict(Appliance.objects.filter(site__in=self._sites).values_list("pk", "name"))
        self._people: dict[int, _Called] = {}

    def look_up(self, rows: list[tuple]) -> None:
        """Read what these rows are the first to refer to."""
        probes, versions, people = ({row[column] for row in rows} for column in (1, 2, 3))
        if new := probes - self._probes.keys():
            found = Probe.objects.in_bulk(new)
            self._probes |= {pk: _Called(guarded(probe.code), _then(probe, "code")) for pk, probe in found.items()}
        if new := versions - self._limits.keys():
            versions = LimitVersion.objects.filter(pk__in=new).select_related("limit")
            self._limits |= {each.pk: (each.limit.code, demand(each)) for each in versions}
        if new := people - self._people.keys():
            found = Person.objects.filter(pk__in=new).prefetch_related("names")
            self._people |= {person.pk: _Called(guarded(person.email), _name_then(person)) for person in found}

    def cells(self, row: tuple, fate: str) -> tuple:
        """In the order of COLUMNS and PASSED_OVER. The time is the site's wall clock with its offset: one moment only."""
        site_id, probe_id, version_id, person_id, item, typed, unit, hold_s, since_start_s, *more = row
        note, used_despite, fitness, appliance_id, pk, deviation, standing, taken_at, recorded_at = more
        limit, demands = self._limits[version_id]
        site, probe, person, at = (
            self._sites[site_id],
            self._probes[probe_id],
            self._people[person_id],
            _moment(taken_at),
        )
        return (
            site.now,
            probe.now,
            limit,
            guarded(item),
            typed,
            unit,
            on_clock(at, self._zones[site_id]).isoformat(),
            hold_s,
            since_start_s,
            guarded(note),
            person.now,
            guarded(used_despite),
            guarded(self._appliances[appliance_id]) if appliance_id else "",
            fitness,
            person.then(recorded_at),
            site.then(at),
            probe.then(at),
            f"R{pk}",
            demands,
            "no" if deviation else "yes",
            standing,
            fate,
        )


def _then(row: DatedModel, name: str) -> Callable[[datetime], str]:
    """How a site or a probe was called at a moment."""
    text = guarded(getattr(row, name))
    return (lambda at: guarded(getattr(row.as_of(at), name))) if row.former else lambda at: text


def _name_then(person: Person) -> Callable[[str], str]:
    """How somebody was called at a moment, given as the database writes it."""
    changes, text = list(person.names.all()), guarded(person.name)
    return (lambda at: guarded(name_at(person, changes, _moment(at)).name)) if changes else lambda at: text


def site_names(sites: Iterable[Site]) -> dict[int, str]:
    """What a file calls each site: its name, with its area before it where several have that name."""
    sites = list(sites)
    met = Counter(site.name.casefold() for site in sites)
    return {s.pk: s.name if met[s.name.casefold()] == 1 else f"{s.area.name} / {s.name}" for s in sites}


def template_lines(site: Site, probe: str, limit: str) -> Iterator[str]:
    """A header and one example row to be overwritten."""
    note = "example: delete this row"
    row = (site.name, probe, limit, "milk", "4.6", site.unit, "2026-03-11T14:05", "", "", note, "", "", "")
    yield "\ufeff" + _lines([COLUMNS, row])
