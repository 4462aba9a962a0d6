"""The checks of a record: those made in the period of every probe that was here."""

from datetime import date, datetime
from itertools import pairwise

from django.db.models import Case, Exists, Max, OuterRef, Q, QuerySet, Value, When

from compliance.checks.models import Check, Verdict
from compliance.checks.timeline import CHECKED
from compliance.plans.calendar import local_day
from compliance.plans.demands import CheckDemand, Checked, by_plan, moment
from compliance.plans.queries import InForce, PlanBook, Reach, calendars
from compliance.probes.models import Probe
from compliance.reminders.models import Excuse, Reminder
from compliance.reminders.status import clearing_checks
from sites.models import Site

from .scope import RecordScope, once
from .statements import asked


def checks_in(scope: RecordScope) -> QuerySet[Check]:
    """The checks of the period, void ones too."""
    return Check.objects.filter(probe__in=scope.probe_keys, **scope.within("checked_at"))


def by_probe(scope: RecordScope) -> QuerySet[Check]:
    """Those in the order of the probes in the record."""
    places = [When(probe=here.probe.pk, then=Value(place)) for place, here in enumerate(scope.probes)]
    in_order = checks_in(scope).annotate(place=Case(*places, default=Value(0)))
    return in_order.select_related("probe", "site", "void", "corrects").order_by("place", "checked_at", "pk")


@once
def newest_procedures(scope: RecordScope) -> dict[str, int | None]:
    """Of each kind of check that was made, the newest version that one of them was made by."""
    return dict(_newest(scope))


@asked
def _newest(scope: RecordScope) -> QuerySet[Check]:
    return checks_in(scope).values_list("kind").annotate(newest=Max("procedure_version")).order_by("kind")


class PlansHere:
    """What the plans asked of the probes here, each by plan and calendar of the site where it was: five queries at any size."""

    def __init__(self, scope: RecordScope):
        self._scope = scope
        self._stays = {here.probe.pk: here.stays for here in scope.probes}
        sites = {scope.site.pk, *(stay.site_id for stays in self._stays.values() for stay in stays)}
        self._sites = Site.objects.select_related("area").in_bulk(sites)
        self._book = PlanBook.of_probes([here.probe for here in scope.probes], at=self._sites.values())
        self._works = calendars(self._sites.values())

    def in_force(self, probe: Probe) -> InForce:
        """The plan at the end of the period, or at printing or when the probe was last here if that comes first."""
        here = [stay for stay in self._stays[probe.pk] if stay.site_id == self._scope.site.pk]
        until = min(self._scope.reached, (here[-1].end if here else None) or self._scope.reached)
        found = self._book.at(Reach.of(probe, self._scope.site), local_day(until, self._scope.zone))
        if found.record:
            self._scope.named(found.record)
        return found

    def after(self, probe: Probe, check: Checked) -> CheckDemand:
        """When the plan asked for the check after a good one, where the probe was then."""
        site = self._where(probe, check.at)
        plans, near_edge = self._book.stretches(Reach.of(probe, site)), bool(check.conditional)
        return by_plan(moment(check), plans, self._works[site.pk], near_edge)[0]

    def work_day(self, probe: Probe, at: datetime) -> date:
        """The day of work that a moment belongs to where the probe was then."""
        return self._works[self._where(probe, at).pk].work_day(at)

    def _where(self, probe: Probe, at: datetime) -> Site:
        begun = [stay for stay in self._stays[probe.pk] if stay.start <= at] or self._stays[probe.pk][:1]
        return self._sites[begun[-1].site_id] if begun else self._sites[self._scope.site.pk]


@once
def plans_of(scope: RecordScope) -> PlansHere:
    return PlansHere(scope)


@asked
def _checked(scope: RecordScope) -> QuerySet[Check]:
    checks = Check.objects.live().filter(probe__in=scope.probe_keys, checked_at__lt=scope.reached)
    return checks.order_by("checked_at", "pk").values_list("probe_id", *CHECKED)


@asked
def _overdue(scope: RecordScope) -> QuerySet[Reminder]:
    """As on the page of a day: the grace was over, and by then it was neither done, excused nor cancelled."""
    at = scope.reached
    rows = Reminder.objects.filter(site=scope.site, probe__in=scope.probe_keys, due_at__lte=at, grace_at__lte=at)
    done = clearing_checks().filter(checked_at__lte=at)
    excused = Excuse.objects.live().filter(reminder=OuterRef("pk"), recorded_at__lte=at)
    waiting = Q(cancelled_at=None) | Q(cancelled_at__gt=at)
    open_then = rows.filter(waiting, ~Exists(done), ~Exists(excused), closes_at__gt=at)
    return open_then.order_by().values_list("probe")


def overdue(scope: RecordScope) -> list[str]:
    """The codes of the probes here whose check was overdue when the period ended, or at printing if that came first."""
    keys = {pk for (pk,) in _overdue(scope)}
    return [here.probe.code for here in scope.probes if here.probe.pk in keys]


def late(scope: RecordScope) -> list[str]:
    """The checks of the period at zero that were made after the day on which the last good one had made them due."""
    plans, found = plans_of(scope), []
    conclusive: dict[int, list[Checked]] = {pk: [] for pk in scope.probe_keys}
    for probe, *row in _checked(scope):
        check = Checked(*row)
        if check.at_zero and check.verdict != Verdict.INCONCLUSIVE:
            conclusive[probe].append(check)
    for here in scope.probes:
        for before, check in pairwise(conclusive[here.probe.pk]):
            if before.verdict != Verdict.IN_TOLERANCE or not scope.holds(check.at):
                continue
            due = plans.after(here.probe, before).at
            if due and plans.work_day(here.probe, check.at) > plans.work_day(here.probe, due):
                found.append(f"C{check.order}")
    return found


@once
def late_and_overdue(scope: RecordScope) -> tuple[list[str], list[str]]:
    """The checks of the period that were made late, and the codes of the probes whose check was overdue at its end."""
    return late(scope), overdue(scope)
