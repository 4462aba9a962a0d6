"""The calendar of a site: one event for each check or reading that is due (RFC 5545, RFC 7986). Whoever has its address
reads it.

Times are moments in UTC (3.3.5, form 2), worked out here from the clock of the site: no program has to know its rules of
daylight saving, and none repeats an event by rules of its own. The same is due at the same bytes, so that asking again is
cheap. There is no METHOD: nobody is invited, and a program takes the whole for what is now.
"""

import hashlib
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from uuid import UUID, uuid5

from shared.bounds import on_one_line

TAKES = timedelta(minutes=15)
REFRESH = timedelta(hours=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class CalendarEntry:
    """One thing to do. `key` names it for as long as it is due at the same time, and so tells it from all others.

    `late` is the local day on which it is shown once it is overdue: it goes along from day to day, as a revision of the same
    event. `tentative`: it is due only if what comes before it is done on its day. `revised` is since when that holds.
    """

    key: str
    what: str
    kind: str
    due_at: datetime
    due_day: date
    says: str
    url: str
    revised: datetime
    late: date | None = None
    tentative: bool = False

    @property
    def revision(self) -> int:
        """Never less than before: 0 until it is overdue, then one more each day."""
        return 1 + (self.late - self.due_day).days if self.late else 0


def new_secret() -> str:
    """256 bits by chance, so that nobody guesses one."""
    return secrets.token_urlsafe(32)


def digest_of(secret: str) -> str:
    """What is kept of a secret. So long a secret needs neither salt nor a slow hash."""
    return hashlib.sha256(secret.encode()).hexdigest()


def calendar(site: str, number: int, zone: str, namespace: UUID, entries: Iterable[CalendarEntry]) -> bytes:
    """The feed of one site. UIDs are UUIDs of this installation (`namespace`), without a host's name (RFC 7986, 5.3)."""
    from icalendar import Calendar, Timezone

    feed, site = Calendar(), on_one_line(site)
    feed.add("prodid", "-//Noughtbook//Checks and readings due//EN")
    feed.add("version", "2.0")
    feed.add("uid", str(uuid5(namespace, f"site-{number}")))
    feed.add("name", f"Checks and readings, {site}")
    feed.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    for entry in entries:
        feed.add_component(_event(entry, site, namespace))
    if not feed.subcomponents:  # 3.4: a calendar has at least one component
        feed.add_component(Timezone.from_tzid(zone))
    return feed.to_ical()


def _event(entry: CalendarEntry, site: str, namespace: UUID):
    from icalendar import Event

    event = Event()
    event.add("uid", str(uuid5(namespace, entry.key)))
    event.add("dtstamp", _second(entry.revised))
    if entry.late:
        event.add("dtstart", entry.late)
    else:
        event.add("dtstart", _second(entry.due_at))
        event.add("duration", TAKES)
    event.add("sequence", entry.revision)
    event.add("status", "TENTATIVE" if entry.tentative else "CONFIRMED")
    event.add("summary", f"{'Overdue: ' if entry.late else ''}{on_one_line(entry.what)}, {site}")
    event.add("description", "\n".join(map(on_one_line, entry.says.splitlines())))
    event.add("location", site)
    event.add("categories", [entry.kind])
    event.add("url", entry.url)
    event.add("transp", "TRANSPARENT")
    return event


def _second(moment: datetime) -> datetime:
    return moment.astimezone(UTC).replace(microsecond=0)
