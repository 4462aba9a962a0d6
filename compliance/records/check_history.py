"""The checks of a record: those made in the period of every probe that was here."""

from datetime import date, datetime

from django.db.models import Case, Max, QuerySet, Value, When

from compliance.checks.models import Check, Verdict
from compliance.checks.timeline import CHECKED
from compliance.plans.calendar import Calendar, local_day
from compliance.plans.demands import CheckDemand, Checked, Happened, next_due, planned
from compliance.plans.queries import InForce, PlanBook, Reach, calendars
from compliance.plans.schedule import Stretch
from compliance.probes.models import Event, Probe
from compliance.reminders.queries import excused_then
from sites.models import Site

from .probes import ProbeHere
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
        self._book = PlanBook.of_probes([here.probe for here in scope.probes], at=scope.site, elsewhere=sites)
        self._sites = Site.objects.select_related("area").in_bulk(sites)
        self._works = calendars(self._sites.values())

    @property
    def calendar(self) -> Calendar:
        return self._works[self._scope.site.pk]

    def stretches(self, probe: Probe) -> list[Stretch]:
        """Which plan is in force from when for a probe at this site."""
        return self._book.stretches(Reach.of(probe, self._scope.site))

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
        return planned(check, self._book.stretches(Reach.of(probe, site)), self._works[site.pk])

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
def _happened(scope: RecordScope) -> QuerySet[Event]:
    events = Event.objects.live().filter(probe__in=scope.probe_keys, at__lt=scope.reached)
    return events.order_by("at", "pk").values_list("probe_id", "at", "kind", "pk")


class History:
    """The live checks and events of the probes here up to the end of the period: at most eight queries at any size."""

    def __init__(self, scope: RecordScope):
        self._scope, self._plans = scope, plans_of(scope)
        self._checks: dict[int, list[Checked]] = {pk: [] for pk in scope.probe_keys}
        self._events: dict[int, list[Happened]] = {pk: [] for pk in scope.probe_keys}
        for probe, *row in _checked(scope):
            self._checks[probe].append(Checked(*row))
        for probe, *row in _happened(scope):
            self._events[probe].append(Happened(*row))

    def overdue(self) -> list[str]:
        """The codes of the probes here whose check was overdue when the period ended, or at printing if that came first.

        As on the page of a day: its grace was over, and it was not excused.
        """
        late = [here.probe for here in self._scope.probes if self._is_overdue(here)]
        excused = excused_then([probe.pk for probe in late], self._scope.reached) if late else set()
        return [probe.code for probe in late if probe.pk not in excused]

    def _is_overdue(self, here: ProbeHere) -> bool:
        pk, at = here.probe.pk, self._scope.reached
        last = here.stays[-1] if here.stays else None
        if last and last.site_id != self._scope.site.pk:
            return False  # it is for the site where it went to
        since = here.stays[0].start if here.stays else at
        due = next_due(
            self._checks[pk], self._events[pk], since, self._plans.stretches(here.probe), self._plans.calendar
        )
        grace = self._plans.in_force(here.probe).plan.grace
        return due.at is not None and due.at + grace <= at

    def late(self) -> list[str]:
        """The checks of the period at zero that were made after the day on which the last good one had made them due."""
        found = []
        for here in self._scope.probes:
            told = [c for c in self._checks[here.probe.pk] if c.verdict != Verdict.INCONCLUSIVE]
            conclusive = [c for c in told if c.at_zero]
            for before, check in zip(conclusive, conclusive[1:], strict=False):
                if before.verdict != Verdict.IN_TOLERANCE or not self._scope.holds(check.at):
                    continue
                due = self._plans.after(here.probe, before).at
                if due and self._plans.work_day(here.probe, check.at) > self._plans.work_day(here.probe, due):
                    found.append(f"C{check.order}")
        return found


@once
def late_and_overdue(scope: RecordScope) -> tuple[list[str], list[str]]:
    """The checks of the period that were made late, and the codes of the probes whose check was overdue at its end."""
    history = History(scope)
    return history.late(), history.overdue()
