"""What is due at a site and what will be, as far ahead as its plans have been worked out: for its calendar.

The queries do not grow with probes, rounds or history.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime

from django.urls import reverse

from compliance.checks.kinds import USUAL
from compliance.checks.models import ProbeState
from compliance.plans.calendar import DAY, instant, local_day
from compliance.plans.models import Slot
from compliance.plans.queries import PlanBook, Reach
from compliance.plans.schedule import Stretch, first_due_day
from compliance.reminders.queries import asked_of, open_rounds, rounds_to_come
from shared.time_text import styled
from sites.models import Site

from .ical import CalendarEntry
from .late_sources import reading_url
from .message_sources import check_url
from .models import FeedKey
from .wording import absolute

AHEAD = 28  # days
DUE = "Due {at} on the clock of {site}"


def entries(key: FeedKey, now: datetime) -> list[CalendarEntry]:
    """What this feed shows, in the order of time; nothing of a site that is closed for good."""
    return coming(key.site, now, key.shows)


def coming(site: Site, now: datetime, shows: str = FeedKey.Shows.BOTH) -> list[CalendarEntry]:
    """What is due at a site and what will be, in the order of time."""
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
        ProbeState.objects.filter(probe__site=site, probe__withdrawn=False, due_at__isnull=False)
        .select_related("probe", "plan", "last_check")
        .order_by("probe__code")
    )
    asked = asked_of(states, now)
    here, following = _Site(site, now), _Following(site, now)
    for state in states:
        shared = {
            "what": f"Check probe {state.probe.code}",
            "kind": "Check",
            "revised": max(_known(state), default=state.due_at),
        }
        if due := asked[state.pk]:
            yield here.entry(
                key=f"check-{state.pk}",
                due_at=due.due_at,
                because=due.because,
                grace_at=due.grace_at,
                url=absolute(check_url(state.pk, due.away)),
                **shared,
            )
        usual = absolute(reverse(USUAL.guidance.address, args=[state.pk]))
        for slot in following.of(state):
            because = f"{slot.because}, if the check before it is made in time"
            yield here.entry(
                key=f"check-{state.pk}",
                due_at=slot.due_at,
                because=because,
                grace_at=None,
                tentative=True,
                url=usual,
                **shared,
            )


def _known(state: ProbeState) -> list[datetime]:
    """What the due time comes from."""
    found = [state.last_check and state.last_check.recorded_at, state.plan and state.plan.recorded_at, state.at_once_at]
    return [moment for moment in found if moment]


class _Following:
    """The due times after the next, where each check is made in time: three queries for any number of probes."""

    def __init__(self, site: Site, now: datetime):
        self._now, self._last = now, local_day(now, site.zone) + DAY * AHEAD
        self._today, self._book = local_day(now, site.zone), PlanBook.of_sites([site.pk])
        slots = Slot.objects.filter(site=site, day__gte=self._today - DAY * AHEAD, day__lte=self._last, named=True)
        self._slots = {(slot.plan_key, slot.day): slot for slot in slots}
        self._site = site

    def of(self, state: ProbeState) -> Iterator[Slot]:
        seen = max(state.due_at, self._now)
        for key, day in self._days(state):
            slot = self._slots.get((key, day))
            if slot and slot.due_at > seen:  # a closed week has one due time, when it is over
                seen = slot.due_at
                yield slot

    def _days(self, state: ProbeState) -> Iterator[tuple[int, date]]:
        told = self._book.stretches(Reach(self._site.area.business_id, self._site.pk, state.probe.sensor, state.pk))
        key, day = state.next_key, state.next_day
        if state.due_day and state.due_day >= self._today:
            key, day = _next(told, state.due_day)
        while day and day <= self._last:
            yield key, day
            key, day = _next(told, day)


def _next(told: list[Stretch], day: date) -> tuple[int, date]:
    plan, following = first_due_day(told, day)
    return plan.key, following


def _readings(site: Site, now: datetime) -> Iterator[CalendarEntry]:
    """Those that can be taken now, and those that are to come and have not been taken early."""
    here = _Site(site, now)
    for asked in (*open_rounds(site, now), *rounds_to_come(site, now)):
        revised = asked.round.recorded_at
        yield here.entry(
            key=f"reading-{asked.round_id}",
            due_at=asked.due_at,
            because=asked.because,
            kind="Reading",
            what=f"Take the reading for {asked.limit}",
            url=absolute(reading_url(asked)),
            revised=revised,
            grace_at=asked.grace_at if asked.due_at <= now else None,
        )
