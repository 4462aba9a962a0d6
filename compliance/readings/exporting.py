"""Readings as a file of the same shape that comes in, so that bringing it back adds nothing."""

import csv
from collections import Counter
from collections.abc import Iterable, Iterator
from itertools import islice

from django.db.models import QuerySet

from compliance.appliances.models import Appliance
from compliance.limits.models import LimitVersion
from compliance.probes.models import Probe
from shared.time_text import on_clock
from sites.models import Person, Site
from sites.names import name_at

from .importing.cells import guarded
from .importing.layout import COLUMNS, PASSED_OVER
from .models import Reading

ROWS = 2000  # fetched, and sent, at a time
FACTS = (
    "site_id",
    "probe_id",
    "limit_version_id",
    "taken_by_id",
    "taken_at",
    "recorded_at",
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


class _Line:
    """What csv.writer writes to: gives back each line instead of keeping it."""

    def write(self, line: str) -> str:
        return line


def csv_lines(readings: QuerySet[Reading], sites: Iterable[Site]) -> Iterator[str]:
    """The header and a line for each reading that is not void, the oldest first; a byte order mark for spreadsheets."""
    write, named = csv.writer(_Line()).writerow, _Named(sites)
    yield "\ufeff" + write((*COLUMNS, *PASSED_OVER))
    live = readings.live().select_related(None).order_by("taken_at", "pk").values_list(*FACTS)
    found = live.iterator(chunk_size=ROWS)
    while rows := list(islice(found, ROWS)):
        named.look_up(rows)
        yield "".join([write(named.cells(row)) for row in rows])


class _Named:
    """What readings refer to by key, read once each, however many readings there are.

    The site and the probe are named as they are called now, so that the file is understood when it is brought back, and as
    they were called then.
    """

    def __init__(self, sites: Iterable[Site]):
        sites = list(sites)
        names = site_names(sites)
        self._sites = {site.pk: (site, guarded(names[site.pk]), site.zone) for site in sites}
        self._probes: dict[int, Probe] = {}
        self._limits: dict[int, str] = {}
        self._appliances = dict(Appliance.objects.filter(site__in=self._sites).values_list("pk", "name"))
        self._people: dict[int, tuple[Person, list]] = {}

    def look_up(self, rows: Iterable[tuple]) -> None:
        """Read what these rows are the first to refer to."""
        _, probes, versions, people, *_ = map(set, zip(*rows, strict=True))
        if new := probes - self._probes.keys():
            self._probes |= Probe.objects.in_bulk(new)
        if new := versions - self._limits.keys():
            self._limits |= dict(LimitVersion.objects.filter(pk__in=new).values_list("pk", "limit__code"))
        if new := people - self._people.keys():
            found = Person.objects.filter(pk__in=new).prefetch_related("names")
            self._people |= {person.pk: (person, list(person.names.all())) for person in found}

    def cells(self, row: tuple) -> list:
        """In the order of COLUMNS and PASSED_OVER. The time is the site's wall clock with its offset: one moment only."""
        site_id, probe_id, version_id, person_id, taken_at, recorded_at, item, typed, *more = row
        site, site_name, zone = self._sites[site_id]
        probe, (person, names) = self._probes[probe_id], self._people[person_id]
        unit, hold_s, since_start_s, note, used_despite, fitness, appliance_id = more
        return [
            site_name,
            guarded(probe.code),
            self._limits[version_id],
            guarded(item),
            typed,
            unit,
            on_clock(taken_at, zone).isoformat(),
            hold_s,
            since_start_s,
            guarded(note),
            guarded(person.email),
            guarded(used_despite),
            guarded(self._appliances[appliance_id]) if appliance_id else "",
            fitness,
            guarded(name_at(person, names, recorded_at).name),
            guarded(site.settings_at(taken_at).name),
            guarded(probe.particulars_at(taken_at).code),
        ]


def site_names(sites: Iterable[Site]) -> dict[int, str]:
    """What a file calls each site: its name, with its area before it where several have that name."""
    sites = list(sites)
    met = Counter(site.name.casefold() for site in sites)
    return {s.pk: s.name if met[s.name.casefold()] == 1 else f"{s.area.name} / {s.name}" for s in sites}


def template_lines(site: Site, probe: str, limit: str) -> Iterator[str]:
    """A header and one example row to be overwritten."""
    write = csv.writer(_Line()).writerow
    yield "\ufeff" + write(COLUMNS)
    note = "example: delete this row"
    yield write([site.name, probe, limit, "milk", "4.6", site.unit, "2026-03-11T14:05", "", "", note, "", "", ""])
