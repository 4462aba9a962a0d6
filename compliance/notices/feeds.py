"""The calendar of a site: one event for each check that is due (RFC 5545, RFC 7986). Whoever has its address reads it."""

import hashlib
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from icalendar import Calendar, Event

TAKES = timedelta(minutes=15)
REFRESH = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class DueCheck:
    """A check of one probe and when it is due. `number` is the probe's."""

    number: int
    named: str
    due_at: datetime
    because: str
    url: str


def new_secret() -> str:
    """256 bits by chance, so that nobody guesses one."""
    return secrets.token_urlsafe(32)


def digest_of(secret: str) -> str:
    """What is kept of a secret. So long a secret needs neither salt nor a slow hash."""
    return hashlib.sha256(secret.encode()).hexdigest()


def calendar(site: str, number: int, host: str, dues: Iterable[DueCheck], now: datetime) -> bytes:
    """The feed of one site, times in UTC. A check keeps its UID for as long as it is due at the same time."""
    feed = Calendar()
    feed.add("prodid", "-//Noughtbook//Checks due//EN")
    feed.add("version", "2.0")
    feed.add("method", "PUBLISH")
    feed.add("uid", f"site-{number}@{host}")
    feed.add("name", f"Checks due, {site}")
    feed.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    for due in dues:
        feed.add_component(_event(due, site, host, now))
    return feed.to_ical()


def _event(due: DueCheck, site: str, host: str, now: datetime) -> Event:
    event = Event()
    event.add("uid", f"check-{due.number}-{due.due_at.astimezone(UTC):%Y%m%dT%H%M%SZ}@{host}")
    event.add("dtstamp", now.astimezone(UTC).replace(microsecond=0))
    event.add("dtstart", due.due_at.astimezone(UTC).replace(microsecond=0))
    event.add("duration", TAKES)
    event.add("summary", f"Check {due.named}, {site}")
    event.add("description", due.because)
    event.add("url", due.url)
    event.add("transp", "TRANSPARENT")
    return event
