"""What is due at a site and what will be, as far ahead as its rows lie: for its calendar.

The queries do not grow with probes, rounds or history.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime

from django.db.models import QuerySet

from compliance.checks.models import ProbeState
from compliance.plans.calendar import DAY, instant, local_day
from compliance.reminders.models import Reminder
from compliance.reminders.queries import NOW, asked_of, open_rounds, rounds_to_come
from compliance.reminders.status import Status, with_status
from shared.prepared import Prepared, Slot
from shared.time_text import styled
from sites.models import Site

from .ical import CalendarEntry
from .late_sources import reading_url
from .message_sources import check_url
from .models import FeedKey
from .wording import absolute

AHEAD = 28  # days
DUE = "Due {at} on the clock of {site}"


def entries(site: Site, now: datetime, shows: str = FeedKey.Shows.BOTH) -> list[CalendarEntry]:
    """What is due at a site and what will be, in the order of time; nothing of a site that is closed for good."""
    if site.closed:
        return []
    found = []
    if shows != FeedKey.Shows.READINGS:
        found += _checks(site, now)
    if shows != FeedKey.Shows.CHECKS:
        found += _readings(site, now)
    return sorted(found, key=lambda entry: (entry.due_at, entry.key))


@dataclass(frozen=True, slots=True)
class _Site:
    """What all entries of a site share."""

    site: Site
    now: datetime

    @property
    def today(self) -> date:
        return local_day(self.now, self.site.zone)

    def entry(
        self, *, key: str, due_at: datetime, because: str, grace_at: datetime | None, revised, **given
    ) -> CalendarEntry:
        late = self.today if grace_at is not None and grace_at <= self.now else None
        since = [revised, *([grace_at, instant(late, datetime.min.time(), self.site.zone)] if late else [])]
        due = DUE.format(at=styled(due_at, self.site.zone), site=self.site)
        return CalendarEntry(
            key=f"{key}-{due_at.astimezone(UTC):%Y%m%dT%H%M%S}",
            due_at=due_at,
            late=late,
            revised=max(since),
            due_day=local_day(due_at, self.site.zone),
            says=f"{due}: {because}." if because else f"{due}.",
            **given,
        )


def _checks(site: Site, now: datetime) -> Iterator[CalendarEntry]:
    states = list(
        ProbeState.objects.filter(probe__site=site, due_at__isnull=False)
        .select_related("probe", "last_check")
        .order_by("probe__code")
    )
    asked, ahead, here = asked_of(states, now), _ahead(site, now), _Site(site, now)
    for state in states:
        shared = {"what": f"Check probe {state.probe.code}", "kind": "Check"}
        known = [state.last_check.recorded_at] if state.last_check else []
        if due := asked[state.pk]:
            yield here.entry(
                key=f"check-{state.pk}",
                due_at=due.due_at,
                because=due.because,
                grace_at=due.grace_at,
                url=absolute(check_url(state.pk, due.away)),
                revised=max(known, default=due.due_at),
                **shared,
            )
        for row in (row for row in ahead[state.pk] if row.due_at > state.due_at):
            yield here.entry(
                key=f"check-{state.pk}",
                due_at=row.due_at,
                because=f"{row.because}, if the check before it is made in time",
                grace_at=None,
                tentative=True,
                url=absolute(check_url(state.pk, row.away)),
                revised=max([*known, row.recorded_at]),
                **shared,
            )


def _upcoming() -> QuerySet[Reminder]:
    rows = Reminder.objects.filter(site=Slot("site"), probe__isnull=False, due_at__gt=NOW, cancelled_at=None)
    return with_status(rows, NOW).filter(status=Status.UPCOMING).order_by("due_at", "pk")


_UPCOMING = Prepared(_upcoming)


def _ahead(site: Site, now: datetime) -> dict[int, list[Reminder]]:
    """What will fall due at a site, by the key of the probe."""
    found = defaultdict(list)
    last = local_day(now, site.zone) + DAY * AHEAD
    for row in _UPCOMING.objects(site=site.pk, now=now):
        if local_day(row.due_at, site.zone) <= last:
            found[row.probe_id].append(row)
    return found


def _readings(site: Site, now: datetime) -> Iterator[CalendarEntry]:
    """Those that can be taken now, and those that are to come and have not been taken early."""
    here, together = _Site(site, now), defaultdict(list)
    for asked in (*open_rounds(site, now), *rounds_to_come(site, now)):
        together[asked.round_id, asked.due_at].append(asked)
    for asked, *more in together.values():
        known = [each.recorded_at for each in (asked, *more) if each.appliance_id]
        revised = max([*known, asked.round.recorded_at])
        yield here.entry(
            key=f"reading-{asked.round_id}",
            due_at=asked.due_at,
            because=asked.because,
            kind="Reading",
            what=_what(asked, *more),
            url=absolute(reading_url(asked)),
            revised=revised,
            grace_at=asked.grace_at if asked.due_at <= now else None,
        )


def _what(asked: Reminder, *more: Reminder) -> str:
    """One entry for a round of one limit, however many appliances it asks for."""
    if not more:
        return f"Take the reading for {asked.what_then}"
    names = ", ".join(str(each.appliance or each.limit) for each in (asked, *more))
    return f"Take the readings for {asked.limit}: {names}"
