"""Whether a mail that was written some time ago is still to leave: asked again right before, for much may have happened
while it waited for a morning or for the mail server.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime

from django.db.models import Q

from compliance.checks.models import Check, ProbeState
from compliance.reminders.queries import excuses_of
from sites.models import Role, Site

from . import telling
from .models import Notice
from .queries import quiet_hours
from .rounds import still_open
from .telling import Kind

CHECKS = (Kind.DUE, Kind.OVERDUE, Kind.UNANSWERED)
READINGS = (Kind.READING, Kind.NO_READING)
ASKING = (*CHECKS, *READINGS)  # of these each asks somebody to do something


def needless(notice: Notice, now: datetime) -> str:
    """Why this one is not to leave any more, in words; empty if it is."""
    return _not_theirs(notice) or (STRUCK if _struck(notice) else "") or (DONE if done([notice], now) else "")


DONE = "What it asks for is done, excused or past."
STRUCK = "The check that it tells of was struck out."


def _struck(notice: Notice) -> bool:
    return bool(notice.checks) and not Check.objects.filter(pk__in=notice.checks, void__isnull=True).exists()


def quiet_until(notice: Notice, now: datetime) -> datetime | None:
    """Until when its person has quiet hours, as these are set now; None where it may leave. Of an area they are on while
    they are at all of its sites."""
    quiet, kind = quiet_hours(notice.person), Kind(notice.kind)
    waits = [telling.not_before(kind, now, site.zone, quiet) for site in _places(notice)]
    return None if not waits or None in waits else min(waits)


def done(notices: Sequence[Notice], now: datetime) -> list[Notice]:
    """Those of these that ask for nothing any more. Four queries at most."""
    asking = [notice for notice in notices if notice.kind in ASKING]
    if not asking:
        return []
    checks = _Checks({probe for notice in asking for probe, _ in notice.probes}, now)
    rounds = still_open({pk for notice in asking for pk in notice.reminders}, now)
    return [n for n in asking if _is_past(n, now) or not (_asks_nothing(n) or _still(n, checks, rounds))]


def _asks_nothing(notice: Notice) -> bool:
    return not notice.probes and not notice.reminders


def _still(notice: Notice, checks: "_Checks", rounds: set[int]) -> bool:
    return not rounds.isdisjoint(notice.reminders) or any(
        checks.wanted(probe, datetime.fromisoformat(at), notice.site_id) for probe, at in notice.probes
    )


def _is_past(notice: Notice, now: datetime) -> bool:
    """A site that was closed; what was to be done on a day that is over, for the next morning names it again."""
    if notice.site is None:
        return False
    ends = telling.end_of_day(notice.made_at, notice.site.zone)
    return notice.site.closed or (notice.kind == Kind.DUE and ends <= now)


class _Checks:
    """Which checks of some probes are still to be made: two queries."""

    def __init__(self, probes: Iterable[int], now: datetime):
        in_use = ProbeState.objects.filter(probe__in=probes, probe__withdrawn=False, probe__site__closed=False)
        states = list(in_use.filter(due_at__isnull=False).select_related("probe"))
        self._due = {state.pk: state.due_at for state in states}
        self._site = {state.pk: state.probe.site_id for state in states}
        self._for_now, self._excused = excuses_of(states, now)

    def wanted(self, probe: int, at: datetime, site: int | None) -> bool:
        """Whether the check that was due at that moment is due yet, where it was if that is given, and not excused."""
        due = self._due.get(probe)
        if due is None or due > at or (site is not None and self._site[probe] != site):
            return False
        return (probe, at) not in self._excused and probe not in self._for_now


def _not_theirs(notice: Notice) -> str:
    """Whoever changed places while it waited is told nothing."""
    if not notice.person.is_active:
        return "This person no longer works here."
    if notice.site is None and notice.area_id is None:
        return ""
    there = Q(site=notice.site) | Q(area=notice.site.area_id) if notice.site else Q(area=notice.area_id)
    held = set(notice.person.memberships.filter(there, role__gte=Role.MANAGER).values_list("role", flat=True))
    # Where there is no site manager, supervisors are told in their stead.
    stands_in = {telling.MANAGER} if telling.SUPERVISOR in held else set()
    if telling.rule_for(Kind(notice.kind), held | stands_in):
        return ""
    return "This person has no role there any more that is told of it."


def _places(notice: Notice) -> list[Site]:
    if notice.site:
        return [notice.site]
    return list(Site.objects.filter(area=notice.area_id, closed=False)) if notice.area_id else []
