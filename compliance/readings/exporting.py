"""Readings as a file of the same shape that comes in, so that bringing it back adds nothing."""

import csv
from collections import Counter
from collections.abc import Iterable, Iterator

from django.db.models import QuerySet

from shared.time_text import on_clock
from sites.models import Site

from .importing.cells import guarded
from .importing.layout import COLUMNS, PASSED_OVER
from .models import Reading


class _Line:
    """What csv.writer writes to: gives back each line instead of keeping it."""

    def write(self, line: str) -> str:
        return line


def csv_lines(readings: QuerySet[Reading], sites: Iterable[Site]) -> Iterator[str]:
    """The header and a line for each reading that is not void, the oldest first; a byte order mark for spreadsheets."""
    names = site_names(sites)
    write = csv.writer(_Line()).writerow
    yield "\ufeff" + write((*COLUMNS, *PASSED_OVER))
    related = ("site", "probe", "limit_version__limit")
    live = readings.live().select_related(None).select_related(*related)
    for reading in live.prefetch_related("taken_by__names").order_by("taken_at", "pk").iterator(chunk_size=2000):
        yield write(cells(reading, names[reading.site_id]))


def cells(reading: Reading, site: str) -> list[str]:
    """In the order of COLUMNS and PASSED_OVER. The time is the site's wall clock with its offset: one moment only.
    The site and the probe are named as they are called now, so that the file is understood when it is brought back."""
    return [
        guarded(site),
        guarded(reading.probe.code),
        reading.limit_version.limit.code,
        guarded(reading.item),
        reading.typed,
        reading.unit,
        on_clock(reading.taken_at, reading.site.zone).isoformat(),
        "" if reading.hold_s is None else str(reading.hold_s),
        "" if reading.since_start_s is None else str(reading.since_start_s),
        guarded(reading.note),
        guarded(reading.taken_by.email),
        guarded(reading.used_despite),
        reading.fitness,
        guarded(reading.name_of("taken_by").name),
        guarded(reading.site_then.name),
        guarded(reading.probe_then.code),
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
    yield write([site.name, probe, limit, "milk", "4.6", site.unit, "2026-03-11T14:05", "", "", note, "", ""])
