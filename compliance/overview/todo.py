"""What is to do at a site, in the order of what matters: overdue, then before the next service, then by what is at stake."""

from dataclasses import dataclass
from datetime import UTC, datetime

from django.db.models import Count, F
from django.urls import reverse

from compliance.checks.kinds import USUAL, Guidance, check_wanted
from compliance.checks.models import Verdict
from compliance.plans.calendar import DAY, Calendar, local_day
from compliance.plans.demands import OUT_OF_TOLERANCE
from compliance.plans.queries import calendars
from compliance.probes.models import ALTERATIONS, Event, Probe
from compliance.readings.models import Reading
from compliance.reminders.models import Reminder
from compliance.reminders.queries import Asked, asked_of, open_checks, rounds_to_take
from sites.models import Site

from .queries import due_by, end_of_today, state_of
from .reminders import to_do

AHEAD = 8  # days in which the next service is looked for
NEVER_TOLD = Asked(None, None, "never checked")  # of a probe of which nothing is kept yet


@dataclass(frozen=True, slots=True, kw_only=True)
class ToDo:
    """A check or a reading that is asked for.

    `stake`: readings that wait for this check; `away`: it is one away from zero. `now`: whether what is made now counts for it;
    `failed`: the probe failed its last check, and somebody has to decide what becomes of it.
    """

    probe: Probe | None = None
    reminder: Reminder | None = None
    due_at: datetime | None
    overdue: bool
    before_service: bool
    because: str = ""
    away: bool = False
    stake: int = 0
    now: bool = True
    failed: bool = False

    @property
    def weight(self) -> tuple:
        due_at = self.due_at or datetime.min.replace(tzinfo=UTC)
        return not self.overdue, not self.before_service, -self.stake, due_at

    @property
    def action(self) -> tuple[str, str]:
        """Words and address: one tap into the check, the reading for the limit, or what is to decide of a failed probe."""
        if self.failed:
            return "Decide", reverse("check_detail", args=[self.probe.state.last_check_id])
        if self.reminder:
            return "Take it now", to_do(self.reminder)
        return "Check now", reverse(self.guidance.address, args=[self.probe.pk])

    @property
    def guidance(self) -> Guidance:
        """How the check of a probe is made."""
        return check_wanted(self.away)


def to_do_today(site: Site, probes: list[Probe], now: datetime) -> list[ToDo]:
    """The most urgent first, also what cannot be done yet; what is excused is left out. Ten queries for any number."""
    calendar = calendars([site])[site.pk]
    service = next_service(calendar, site, now) or end_of_today(site, now)
    due = [probe for probe in probes if due_by(probe, max(end_of_today(site, now), service))]
    asked = asked_of([state_of(probe) for probe in due], now)
    stakes = waiting_readings(due)
    at_zero = _at_zero_besides(asked, now)
    failed = undecided_failures(due)
    wanted = [
        (probe, each) for probe in due for each in (asked.get(probe.pk, NEVER_TOLD), at_zero.get(probe.pk)) if each
    ]
    checks = [
        ToDo(
            probe=probe,
            due_at=each.due_at,
            overdue=each.grace_at is None or each.grace_at <= now,
            because=each.because,
            before_service=each.due_at is None or each.due_at <= service,
            away=each.away,
            stake=stakes.get(probe.pk, 0),
            now=counts_now(calendar, each.due_at, now),
            failed=probe.pk in failed and each.because.startswith(OUT_OF_TOLERANCE),
        )
        for probe, each in wanted
    ]
    rounds = [
        ToDo(reminder=each, due_at=each.due_at, overdue=each.grace_at <= now, before_service=True)
        for each in rounds_to_take(site, now)
    ]
    return sorted([*checks, *rounds], key=lambda each: each.weight)


def _at_zero_besides(asked: dict[int, Asked | None], now: datetime) -> dict[int, Reminder]:
    """What asks for a check at zero of probes that are due for one away from zero."""
    away = [pk for pk, each in asked.items() if each and each.away and each.due_at <= now]
    rows = open_checks(away, now) if away else []
    return {row.probe_id: row for row in reversed(rows) if not row.away}


def counts_now(calendar: Calendar, due_at: datetime | None, now: datetime) -> bool:
    """Whether a check made now is for what is due then: due already, or planned for this day of work."""
    return due_at is None or due_at <= now or calendar.work_day(now) == calendar.day_asked(due_at)


def undecided_failures(probes: list[Probe]) -> set[int]:
    """The keys of the probes whose last check failed and that nobody has adjusted or repaired since. One query, if any failed."""
    checks = {probe.pk: state_of(probe).last_check for probe in probes}
    failed = {
        pk: check.checked_at for pk, check in checks.items() if check and check.verdict == Verdict.OUT_OF_TOLERANCE
    }
    if not failed:
        return set()
    events = Event.objects.live().filter(probe__in=failed, kind__in=ALTERATIONS, at__gte=min(failed.values()))
    return failed.keys() - {pk for pk, at in events.values_list("probe", "at") if at >= failed[pk]}


def for_one_bath(due: list[ToDo]) -> list[ToDo]:
    """The checks at zero: those that can be made together in one ice bath, now."""
    return [each for each in due if each.probe and each.now and not each.failed and each.guidance is USUAL.guidance]


def next_service(calendar: Calendar, site: Site, now: datetime) -> datetime | None:
    """When the site opens next; None where its hours are not known."""
    days = (local_day(now, site.zone) + DAY * ahead for ahead in range(AHEAD))
    services = (calendar.service(day) for day in days)
    return next((service[0] for service in services if service and service[0] > now), None)


def waiting_readings(probes: list[Probe]) -> dict[int, int]:
    """How many readings of each probe wait for its next check, by the probe's key: those since its last good one."""
    if not probes:
        return {}
    since = Reading.objects.live().filter(probe__in=probes, taken_at__gt=F("probe__state__last_good_at"))
    return dict(since.order_by().values_list("probe").annotate(Count("pk")))
