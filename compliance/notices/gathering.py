"""What is to be told now, as messages that are not yet anybody's: a constant number of queries, and none for what is told.

Each message names its marks; the mark and the notices are written together, so that nothing is told twice or lost.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.urls import reverse

from compliance.checks.guidance import check_wanted
from compliance.checks.models import Check, ProbeState, Verdict
from compliance.checks.models import Kind as CheckKind
from compliance.checks.telling import shown_in
from compliance.plans.calendar import local_day
from compliance.plans.queries import calendars
from compliance.probes.models import Probe
from compliance.reminders.models import Reminder
from compliance.reminders.queries import Asked, asked_of
from compliance.reminders.status import Status, with_status
from shared.templatetags.noughtbook import when
from shared.words import noun
from sites.addresses import address
from sites.models import Area, Site

from . import telling, wording
from .models import Mark
from .telling import Kind

A_DAY_ANYWHERE = timedelta(hours=26)  # the longest that is left of a local day, an hour put back included
NEWS = timedelta(days=7)  # a failed check that reaches the record later than this is history, and no news


@dataclass(frozen=True, slots=True)
class Item:
    """One line of a message: the thing, what is said of it, and where to act on it."""

    title: str
    says: str
    link: str


@dataclass(slots=True)
class Message:
    kind: Kind
    about: str
    subject: str
    lead: str
    items: list[Item]
    link: str
    site: Site | None = None
    area: Area | None = None
    probes: list[list] = field(default_factory=list)
    reminders: list[int] = field(default_factory=list)
    checks: list[int] = field(default_factory=list)
    after: list[str] = field(default_factory=list)
    due: str = ""

    @property
    def zone(self):
        return self.site.zone if self.site else self.area.open_sites[0].zone


@dataclass
class Found:
    """Messages, and the marks of all that was looked at, told or not."""

    messages: list[Message] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)


def untold(kind: Kind, number: str, **more) -> Exists:
    return ~Exists(Mark.objects.filter(kind=kind, number=OuterRef(number), **more))


def mornings(now: datetime) -> Found:
    """One message a site and day, with every check that is due on it or still waits: four queries at most."""
    states = ProbeState.objects.filter(
        untold(Kind.DUE, "probe__site", at__gt=now), due_at__lt=now + A_DAY_ANYWHERE, probe__withdrawn=False,
        probe__site__closed=False,
    )  # fmt: skip
    states = list(states.select_related("probe__site__area").order_by("due_at", "probe__code"))
    asked = asked_of(states, now)
    by_site = defaultdict(list)
    for state in states:
        due = asked[state.pk]
        if due and due.due_at < telling.end_of_day(now, state.probe.site.zone):
            by_site[state.probe.site].append((state.probe, due))
    for mine in by_site.values():
        mine.sort(key=lambda wanted: (wanted[1].due_at, wanted[0].code))
    ready = {
        site: mine for site, mine in by_site.items()
        if telling.morning_has_come(now, site.zone, _first_today(mine, now, site))
    }  # fmt: skip
    return _mornings(ready, now) if ready else Found()


Wanted = tuple[Probe, Asked]


def _first_today(wanted: list[Wanted], now: datetime, site: Site) -> datetime | None:
    today = local_day(now, site.zone)
    return next((due.due_at for _, due in wanted if local_day(due.due_at, site.zone) == today), None)


def _mornings(by_site: dict[Site, list[Wanted]], now: datetime) -> Found:
    found, works = Found(), calendars(by_site)
    for site, wanted in by_site.items():
        found.marks.append(Mark(kind=Kind.DUE, number=site.pk, at=telling.end_of_day(now, site.zone)))
        day = local_day(now, site.zone)
        if telling.worth_telling([due.due_at for _, due in wanted], now, site.zone, works[site.pk].is_open(day)[0]):
            found.messages.append(_morning(site, wanted, now))
    return found


def _morning(site: Site, wanted: list[Wanted], now: datetime) -> Message:
    day = local_day(now, site.zone)
    items = [Item(named(probe), _due_says(due, now, site), check_url(probe.pk, due.away)) for probe, due in wanted]
    return Message(
        Kind.DUE, f"{site.pk}:{day}", f"{site}: check {wording.probes([probe.code for probe, _ in wanted])} today",
        f"Due at {site} on {when_day(now, site)}.", items, items[0].link if len(items) == 1 else todo_url(site),
        site=site, probes=[[probe.pk, due.due_at.isoformat()] for probe, due in wanted],
    )  # fmt: skip


def _due_says(due: Asked, now: datetime, site: Site) -> str:
    at = wording.plain(when(due.due_at, site.zone, "short"))
    return f"{due.because or 'check due'}, {'overdue since' if due.due_at <= now else 'due'} {at}"


def overdue(now: datetime) -> Found:
    """What is overdue past its grace, for the site managers: one message a site and due time."""
    return _late(Kind.OVERDUE, now, "{}: {} overdue, check now", "The time allowed is over and no check has been made.")


def unanswered(now: datetime) -> Found:
    """What still nobody has checked, for the area supervisors."""
    words = "The time allowed is long over and still no check has been made."
    return _late(Kind.UNANSWERED, now, "{}: {} still not checked, see to it", words)


def _late(kind: Kind, now: datetime, subject: str, lead: str) -> Found:
    found = Found()
    late = [r for r in _open_reminders(kind, now) if _ripe(kind, r) <= now]
    latest = {reminder.probe_id: reminder.pk for reminder in late if reminder.status == Status.MISSED}
    for reminders in by_site(r for r in late if r.status != Status.MISSED or latest[r.probe_id] == r.pk):
        site, codes, due = reminders[0].site, list(dict.fromkeys(r.probe.code for r in reminders)), same_due(reminders)
        found.messages.append(Message(
            kind, about(reminders), subject.format(site, f"{wording.probes(codes)} {noun(len(codes), 'is', 'are')}"),
            f"Due {due}. {lead}" if due else lead,
            [Item(named(r.probe), because(r, due), asked_url(r)) for r in reminders],
            asked_url(reminders[0]) if len(reminders) == 1 else todo_url(site), site=site, due=due,
            probes=[[r.probe_id, r.due_at.isoformat()] for r in reminders],
        ))  # fmt: skip
    found.marks += [Mark(kind=kind, number=r.pk, at=r.due_at) for r in late]
    return found


def by_site(reminders: Iterable[Reminder]) -> list[list[Reminder]]:
    """What is told at one moment of a site makes one message, whenever each fell due."""
    found = defaultdict(list)
    for reminder in reminders:
        found[reminder.site_id].append(reminder)
    return list(found.values())


def about(reminders: Sequence[Reminder]) -> str:
    """Of no other message: a reminder is told once."""
    first = min(reminders, key=lambda reminder: reminder.pk)
    return f"{first.site_id}:{first.due_at:%Y-%m-%dT%H:%M:%S}:{first.pk}"


def same_due(reminders: Sequence[Reminder]) -> str:
    """When they fell due, if all did at one moment; else empty, and each is to say so for itself."""
    dues = {reminder.due_at for reminder in reminders}
    return wording.plain(when(dues.pop(), reminders[0].site.zone)) if len(dues) == 1 else ""


def because(reminder: Reminder, due: str) -> str:
    return (
        reminder.because
        if due
        else f"{reminder.because}, due {wording.plain(when(reminder.due_at, reminder.site.zone))}"
    )


def _open_reminders(kind: Kind, now: datetime) -> list[Reminder]:
    """Grows with what is overdue, not with history: from the probes that are due to their reminders since then.

    What is over as soon as its grace is, was missed then, without ever having been overdue.
    """
    reminders = Reminder.objects.filter(
        Q(closes_at__gt=now) | Q(closes_at__lte=F("grace_at")), untold(kind, "pk"), probe__state__due_at__lte=now,
        due_at__gte=F("probe__state__due_at"), grace_at__lte=now, site__closed=False, probe__withdrawn=False,
    )  # fmt: skip
    told = with_status(reminders, now).filter(status__in=[Status.OVERDUE, Status.MISSED])
    return list(told.select_related("site__area", "probe__state").order_by("due_at", "pk"))


def _ripe(kind: Kind, reminder: Reminder) -> datetime:
    if kind == Kind.OVERDUE:
        return telling.overdue_at(reminder.due_at, reminder.grace_at - reminder.due_at)
    return telling.told_on_at(reminder.due_at, reminder.grace_at, reminder.closes_at)


def untold_failures(now: datetime) -> QuerySet[Check]:
    """Failed checks that nobody has been told of, among those that reached the record lately and still count."""
    return Check.objects.filter(
        untold(Kind.FAILED, "pk"), verdict=Verdict.OUT_OF_TOLERANCE, void__isnull=True, recorded_at__gt=now - NEWS,
    )  # fmt: skip


def failures(now: datetime) -> Found:
    """A message a site for the failed checks that reached the record lately and still count: where each was made, and where
    the probe is by now."""
    found, at_site = Found(), defaultdict(list)
    failed = untold_failures(now).select_related("probe__site__area", "site__area")
    for check in failed.prefetch_related("checked_by__names").order_by("pk"):
        found.marks.append(Mark(kind=Kind.FAILED, number=check.pk, at=check.checked_at))
        for site in dict.fromkeys([check.site, check.probe.site]):
            at_site[site].append(check)
    found.messages += [_failure(site, checks) for site, checks in at_site.items()]
    return found


AFTER_FAILURE = [
    "Label {it} “Do not use” and keep {it} apart. Take another probe that is in tolerance for the food that is waiting.",
    "Hold the food that was judged by {it} since {its} last good check until somebody has decided on it.",
]
ITS_CHECK = {
    CheckKind.ZERO: "its zero check",
    CheckKind.BOILING: "its boiling check",
    CheckKind.CERTIFICATE: "its certificate",
}


def _failure(site: Site, checks: Sequence[Check]) -> Message:
    """Usually of one check, of several where they were recorded together."""
    codes = list(dict.fromkeys(check.probe.code for check in checks))
    one, kinds = len(codes) == 1, {check.kind for check in checks}
    failed = ITS_CHECK[checks[0].kind] if one and len(kinds) == 1 else noun(len(codes), "its checks", "their checks")
    words = {"it": "it", "its": "its"} if one else {"it": "them", "its": "their"}
    single = len(checks) == 1
    return Message(
        Kind.FAILED, f"{checks[0].pk}" if site == checks[0].site else f"{checks[0].pk}@{site.pk}",
        f"{site}: stop using {wording.probes(codes)}, {noun(len(codes), 'it', 'they')} failed {failed}",
        _checked(checks[0], site) if single else f"Do not use {words['it']} again before a check is passed.",
        [Item(named(c.probe), shown_in(c) if single else f"{shown_in(c)} {_checked(c, site)}", _link(c, site)) for c in checks],
        _link(checks[0], site) if single else todo_url(site), site=site,
        after=[line.format(**words) for line in AFTER_FAILURE], checks=[c.pk for c in checks],
    )  # fmt: skip


def _checked(check: Check, site: Site) -> str:
    return f"Checked {wording.plain(when(check.checked_at, site.zone))} by {check.name_of('checked_by')}."


def _link(check: Check, site: Site) -> str:
    """Its page; to people where the probe is by now, who may not see that, the page of the probe."""
    own = check.site_id == site.pk
    return reverse("check_detail", args=[check.pk]) if own else reverse("probe_detail", args=[check.probe_id])


def check_url(probe_id: int, away: bool) -> str:
    """Where the very check is made that is asked for."""
    return reverse(check_wanted(away).address, args=[probe_id])


def asked_url(reminder: Reminder) -> str:
    """The same of a reminder, whatever else its probe is due for."""
    return check_url(reminder.probe_id, reminder.away)


def todo_url(site: Site) -> str:
    """Where all checks of a site are; the list of probes where there is no such page."""
    return address("today_site", site.pk) or reverse("probe_list")


def named(probe) -> str:
    return f"Probe {probe.code}, {probe.description}" if probe.description else f"Probe {probe.code}"


def when_day(now: datetime, site: Site) -> str:
    return wording.plain(when(now, site.zone, "day"))
