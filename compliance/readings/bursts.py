"""Readings of different times that one person entered at one go: a question for whoever reads the record, and no more.

A file, paper notes and a phone without network say of themselves that they are entered afterwards, and are left out.
How many, how close and how far apart is our judgement: common practice, no source.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from django.db.models import F

from compliance.checks.queries import ENTERED_APART
from shared.time_text import clock_time, day_words, on_clock
from sites.models import Site

from .models import Reading

FEWEST = 4  # different times that are stated
AT_ONE_GO = timedelta(minutes=2)  # from one entry to the next
FROM_PAPER = "From paper notes."


@dataclass(frozen=True, slots=True)
class Burst:
    """Who entered how many readings, of which times, from when to when."""

    by: int
    readings: int
    first: datetime
    last: datetime
    begun: datetime
    ended: datetime

    def words(self, zone: tzinfo, who: Callable[[int, datetime], object]) -> str:
        """Such as “12 readings of 11 Mar 2026, 06:00 to 21:00, were entered by Col Esker on 11 Mar 2026, 21:02 to 21:03: were
        they made at their times?”"""
        taken, entered = _span(self.first, self.last, zone), _span(self.begun, self.ended, zone)
        by = who(self.by, self.ended)
        return (
            f"{self.readings:,} readings of {taken}, were entered by {by} on {entered}: were they made at their times?"
        )


def _span(start: datetime, end: datetime, zone: tzinfo) -> str:
    start, end = on_clock(start, zone), on_clock(end, zone)
    day = "" if start.date() == end.date() else f"{day_words(end)}, "
    return f"{day_words(start)}, {clock_time(start)} to {day}{clock_time(end)}"


def bursts_of(site: Site, start: datetime, end: datetime, now: datetime) -> list[Burst]:
    """Of the readings taken at a site from `start` up to `end`, in the order of entry. One query; what was entered at its time is
    passed over."""
    entered = (
        Reading.objects.live()
        .filter(site=site.pk, taken_at__gte=start, taken_at__lt=end, source=None, phone__isnull=True)
        .filter(recorded_at__lte=now, recorded_at__gt=F("taken_at") + ENTERED_APART)
        .exclude(note__startswith=FROM_PAPER)
        .order_by("recorded_by", "recorded_at", "pk")
    )
    rows = entered.values_list("recorded_by_id", "recorded_at", "taken_at").iterator(chunk_size=2000)
    return sorted(bursts(rows), key=lambda burst: burst.begun)


def bursts(entries: Iterable[tuple[int, datetime, datetime]]) -> Iterator[Burst]:
    """From (person, entered, taken) in the order of person and entry."""
    going: list[tuple[int, datetime, datetime]] = []
    for entry in entries:
        if going and (entry[0] != going[-1][0] or entry[1] - going[-1][1] > AT_ONE_GO):
            yield from _judged(going)
            going = []
        going.append(entry)
    yield from _judged(going)


def _judged(going: list[tuple[int, datetime, datetime]]) -> Iterator[Burst]:
    times = {taken for _, _, taken in going}
    if len(times) >= FEWEST and max(times) - min(times) > ENTERED_APART:
        yield Burst(going[0][0], len(going), min(times), max(times), going[0][1], going[-1][1])
