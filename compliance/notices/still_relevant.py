"""Whether a mail that was written some time ago is still to leave: asked right before, for much may have happened while it waited
for a morning or for the mail server.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from django.db.models import Q

from compliance.checks.models import Check, ProbeState
from compliance.probes.models import Event
from compliance.reminders.models import Reminder
from compliance.reminders.queries import excuses_of
from compliance.reminders.status import still_open
from sites.models import Role, Site

from . import timing
from .models import Notice
from .queries import quiet_hours
from .recipients import MANAGER, SUPERVISOR, Kind, rule_for

ASKING = (Kind.DUE, Kind.OVERDUE, Kind.UNANSWERED, Kind.READING, Kind.NO_READING)  # somebody to do something
DONE = "What it asks for is done, excused or past."
STRUCK = "What it tells of was struck out."
STOPPED = "This person no longer works here."
NO_ROLE = "This person has no role there any more that is told of it."


def needless(notice: Notice, now: datetime) -> str:
    """Why this one is not to leave any more, in words; empty if it is. Four queries at most."""
    if not notice.person.is_active:
        return STOPPED
    if _changed_places(notice):
        return NO_ROLE
    told_of = Event if notice.kind == Kind.GONE else Check
    if notice.facts and not told_of.objects.live().filter(pk__in=notice.facts).exists():
        return STRUCK
    return DONE if done([notice], now) else ""


def quiet_until(notice: Notice, now: datetime) -> datetime | None:
    """Until when its person has quiet hours, as these are set now; None where it may leave."""
    return timing.not_before(Kind(notice.kind), now, _zones(notice), quiet_hours(notice.person))


def done(notices: Sequence[Notice], now: datetime) -> list[Notice]:
    """Those of these that ask for nothing any more. Three queries at most."""
    asking = [notice for notice in notices if notice.kind in ASKING]
    checks = _Checks({probe for notice in asking for probe, _ in notice.probes}, now)
    readings = _open({pk for notice in asking for pk in notice.reminders}, now)
    return [notice for notice in asking if _is_past(notice, now) or not _still_asks(notice, checks, readings)]


def _still_asks(notice: Notice, checks: "_Checks", readings: set[int]) -> bool:
    wanted = [checks.wanted(probe, datetime.fromisoformat(at), notice.site_id) for probe, at in notice.probes]
    wanted += [pk in readings for pk in notice.reminders]
    return any(wanted) or not wanted


def _open(reminders: Iterable[int], now: datetime) -> set[int]:
    """Those of these reminders that can be and need be done yet."""
    if not reminders:
        return set()
    asked = still_open(Reminder.objects.filter(pk__in=list(reminders)), now)
    return set(asked.order_by().values_list("pk", flat=True))


def _is_past(notice: Notice, now: datetime) -> bool:
    """A site that was closed; what was to be done on a day that is over, for the next morning names it again."""
    if notice.site is None:
        return False
    ends = timing.end_of_day(notice.made_at, notice.site.zone)
    return notice.site.closed or (notice.kind == Kind.DUE and ends <= now)


class _Checks:
    """Which checks of some probes are still to be made: two queries, none for no probes."""

    def __init__(self, probes: set[int], now: datetime):
        in_use = ProbeState.objects.filter(probe__in=probes, probe__site__closed=False)
        states = list(in_use.filter(due_at__isnull=False).select_related("probe")) if probes else []
        self._states = {state.pk: state for state in states}
        self._for_now, self._excused = excuses_of(states, now)
        self._now = now

    def wanted(self, probe: int, at: datetime, site: int | None) -> bool:
        """Whether the check that is due at that moment is due yet, where it was if that is given, and not excused. No excuse for
        what is open covers what is still to come."""
        state = self._states.get(probe)
        if state is None or state.due_at > at or (site is not None and state.probe.site_id != site):
            return False
        return (probe, at) not in self._excused and (at > self._now or probe not in self._for_now)


def _changed_places(notice: Notice) -> bool:
    if notice.site is None and notice.area_id is None:
        return False
    there = Q(site=notice.site) | Q(area=notice.site.area_id) if notice.site else Q(area=notice.area_id)
    held = set(notice.person.memberships.filter(there, role__gte=Role.MANAGER).values_list("role", flat=True))
    # Where there is no site manager, supervisors are told in their stead.
    stands_in = {MANAGER} if SUPERVISOR in held else set()
    return rule_for(Kind(notice.kind), held | stands_in) is None


def _zones(notice: Notice) -> list[ZoneInfo]:
    if notice.site:
        return [notice.site.zone]
    sites = Site.objects.filter(area=notice.area_id, closed=False) if notice.area_id else []
    return [site.zone for site in sites]
