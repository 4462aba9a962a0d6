"""What is to be told, as messages that are not yet anybody's: a constant number of queries, and none for what is told.

Each source gives, with its messages, what they notify of; both are written together, so that nothing is told twice or lost.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.urls import reverse

from compliance.checks.check_page import shown_in
from compliance.checks.kinds import check_wanted, kind_of
from compliance.checks.models import Check, ProbeState, Verdict
from compliance.plans.calendar import DAY, local_day
from compliance.plans.queries import calendars
from compliance.probes.models import Event, EventKind, Probe
from compliance.reminders.queries import Asked, asked_next, asked_of
from shared.append_only import Fact
from shared.key_lists import among
from shared.plurals import noun
from shared.time_text import styled
from sites.access import clock_of
from sites.addresses import address
from sites.models import Area, PasswordLink, Person, Site

from . import timing, wording
from .models import Notified, Watermark
from .recipients import Kind

A_DAY_ANYWHERE = timedelta(hours=26)  # the longest that is left of a local day, an hour put back included
NEWS = timedelta(days=7)  # what reaches the record later than this is history, and no news
COMMITTED = timedelta(minutes=15)  # by then whoever recorded something has committed it
WHOSE = "Was it not you? Then somebody else could write under your name. Tell your supervisor at once."


@dataclass(frozen=True, slots=True)
class Item:
    """One line of a message: the thing, what is said of it, and where to act on it."""

    title: str
    says: str
    link: str


@dataclass(slots=True)
class Message:
    """To whoever is told of its kind at its site or area; to one person alone where it names one."""

    kind: Kind
    about: str
    subject: str
    lead: str
    items: list[Item]
    link: str
    site: Site | None = None
    area: Area | None = None
    person: Person | None = None
    probes: list[list] = field(default_factory=list)
    reminders: list[int] = field(default_factory=list)
    facts: list[int] = field(default_factory=list)
    after: list[str] = field(default_factory=list)
    due: str = ""

    @property
    def area_id(self) -> int | None:
        return self.area.pk if self.area else self.site and self.site.area_id

    @property
    def zones(self) -> list[ZoneInfo]:
        return [self.site.zone] if self.site else [self.area.open_sites[0].zone] if self.area else []


@dataclass
class Gathered:
    """Messages, and all that was looked at, told or not: up to a moment, or passed on to others by what was told before. False
    where there is nothing new."""

    messages: list[Message] = field(default_factory=list)
    notified: list[Notified] = field(default_factory=list)
    watermark: Watermark | None = None
    passed_on: list[int] = field(default_factory=list)
    told_before: list[Notified] = field(default_factory=list)

    def __bool__(self) -> bool:
        return bool(self.notified or self.passed_on or self.told_before)


def untold(kind: Kind, **more) -> Exists:
    return ~Exists(Notified.objects.filter(kind=kind, number=OuterRef("pk"), **more))


Looked = dict[str, datetime]  # until when each kind was looked for
Wanted = tuple[Probe, Asked]


def looked_until() -> Looked:
    return dict(Watermark.objects.values_list("kind", "at"))


def since_last(kind: Kind, looked: Looked | None, at_first: datetime) -> datetime:
    return (looked_until() if looked is None else looked).get(kind, at_first)


def mornings(now: datetime, looked: Looked | None = None) -> Gathered:
    """One message a site and day, with every check that is due on it or still waits; where nothing is yet in the morning, an hour
    before a check that is asked for later, or when it falls due. Only sites where that came since the last look are looked at."""
    since = since_last(Kind.DUE, looked, now - DAY)
    gathered = Gathered(watermark=Watermark(kind=Kind.DUE, at=now))
    sites = Site.objects.filter(_it_dawned(since, now), untold(Kind.DUE, at__gt=now), closed=False)
    if not (keys := list(sites.values_list("pk", flat=True))):
        return gathered
    states = ProbeState.objects.filter(probe__site__in=among(keys), due_at__lt=now + A_DAY_ANYWHERE)
    states = list(states.select_related("probe__site__area").order_by("due_at", "probe__code"))
    asked, wanted = asked_of(states, now), defaultdict(list)
    asked |= asked_next(
        (pk for pk, due in asked.items() if due is None), now, now + A_DAY_ANYWHERE
    )  # after what is excused
    for state in states:
        due, site = asked[state.pk], state.probe.site
        if due and due.due_at < timing.end_of_day(now, site.zone):
            wanted[site].append((state.probe, due))
    for checks in wanted.values():
        checks.sort(key=lambda check: (check[1].due_at, check[0].code))
    wanted = {
        site: checks
        for site, checks in wanted.items()
        if timing.morning_has_come([due.due_at for _, due in checks], now, site.zone)
    }
    _tell(gathered, wanted, now)
    return gathered


def _it_dawned(since: datetime, now: datetime) -> Q:
    """Sites where it became morning in that time, in their zone or since a check is near, or where one fell due."""
    zones = [name for name in _zones() if timing.dawned(since, now, ZoneInfo(name))]
    ahead = timing.BEFORE_THE_FIRST
    near = Q(due_at__gt=since, due_at__lte=now) | Q(due_at__gt=since + ahead, due_at__lte=now + ahead)
    near = ProbeState.objects.filter(near)
    return Q(time_zone__in=zones) | Q(pk__in=among(set(near.values_list("probe__site", flat=True))))


def _zones() -> Iterator[str]:
    """Each in use, by one step in the index: asked for all at once, the database looks at every site."""
    name = ""
    names = Site.objects.order_by("time_zone").values_list("time_zone", flat=True)
    while name := names.filter(time_zone__gt=name).first():
        yield name


def _tell(gathered: Gathered, wanted: dict[Site, list[Wanted]], now: datetime) -> None:
    works = calendars(wanted) if wanted else {}
    for site, checks in wanted.items():
        gathered.notified.append(Notified(kind=Kind.DUE, number=site.pk, at=timing.end_of_day(now, site.zone)))
        is_open = works[site.pk].is_open(local_day(now, site.zone))
        if timing.worth_telling([due.due_at for _, due in checks], now, site.zone, is_open):
            gathered.messages.append(_morning(site, checks, now))


def _morning(site: Site, checks: list[Wanted], now: datetime) -> Message:
    items = [Item(named(probe), _due_says(due, now, site), check_url(probe.pk, due.away)) for probe, due in checks]
    return Message(
        Kind.DUE,
        f"{site.pk}:{local_day(now, site.zone)}",
        f"{site}: check {wording.probes([probe.code for probe, _ in checks])} today",
        f"Due at {site} on {styled(now, site.zone, 'day')}.",
        items,
        items[0].link if len(items) == 1 else todo_url(site),
        site=site,
        probes=[[probe.pk, due.due_at.isoformat()] for probe, due in checks],
    )


def _due_says(due: Asked, now: datetime, site: Site) -> str:
    since = "overdue since" if due.due_at <= now else "due"
    return f"{due.because or 'check due'}, {since} {styled(due.due_at, site.zone, 'short')}"


AFTER_FAILURE = [
    "Label {it} “Do not use” and keep {it} apart. Take another probe that is in tolerance for the food that is waiting.",
    "Hold the food that was judged by {it} since {its} last good check until somebody has decided on it.",
]


HOLD_GONE = "Hold that food until somebody has decided on it, and take another probe that is in tolerance."


def failures(now: datetime, check: int | None = None, looked: Looked | None = None) -> Gathered:
    """Failed checks, or this one, that nobody has been told of, reached the record lately and still count: a message to each site
    where one was made, and where its probe is by now."""
    failed = Check.objects.filter(verdict=Verdict.OUT_OF_TOLERANCE)
    checks = _news(failed, Kind.FAILED, now, check, looked).select_related("probe__site__area", "site__area")
    checks = checks.prefetch_related("checked_by__names")
    told = [(each, each.checked_at, [each.site, each.probe.site]) for each in checks]
    return _at_their_sites(Kind.FAILED, told, _failure, _until(Kind.FAILED, now, check))


def _news(facts: QuerySet[Fact], kind: Kind, now: datetime, one: int | None, looked: Looked | None) -> QuerySet[Fact]:
    """Of these facts, or of this one, what counts and nobody has been told of. The keys of many are looked up by themselves, in
    the order of the index, or what they are joined with is read as a whole."""
    found = facts.live().filter(untold(kind))
    if one is not None:
        return found.filter(pk=one, recorded_at__gt=now - NEWS)
    since = max(now - NEWS, since_last(kind, looked, now - NEWS) - COMMITTED)
    keys = list(found.filter(recorded_at__gt=since).order_by("recorded_at").values_list("pk", flat=True))
    return facts.model.objects.filter(pk__in=keys).order_by("pk")


def _until(kind: Kind, now: datetime, one: int | None) -> Watermark | None:
    return Watermark(kind=kind, at=now) if one is None else None


def _at_their_sites(
    kind: Kind, told: Iterable[tuple[Fact, datetime, list[Site]]], message: Callable, until: Watermark | None
) -> Gathered:
    """One message a site of all these facts, each with its time and the sites where people hear of it."""
    gathered, at_site = Gathered(watermark=until), defaultdict(list)
    for fact, at, sites in told:
        gathered.notified.append(Notified(kind=kind, number=fact.pk, at=at))
        for site in dict.fromkeys(sites):
            at_site[site].append(fact)
    gathered.messages = [message(site, facts) for site, facts in at_site.items()]
    return gathered


def _failure(site: Site, checks: Sequence[Check]) -> Message:
    """Of one check; of several where nobody was there to hear of each."""
    codes = list(dict.fromkeys(check.probe.code for check in checks))
    first, single, kinds = checks[0], len(checks) == 1, {check.kind for check in checks}
    words = {"it": "it", "its": "its"} if len(codes) == 1 else {"it": "them", "its": "their"}
    same = len(codes) == len(kinds) == 1
    failed = kind_of(first).named if same else noun(len(codes), "its checks", "their checks")
    return Message(
        Kind.FAILED,
        f"{first.pk}" if site == first.site else f"{first.pk}@{site.pk}",
        f"{site}: stop using {wording.probes(codes)}, {noun(len(codes), 'it', 'they')} failed {failed}",
        _checked(first, site) if single else f"Do not use {words['it']} again before a check is passed.",
        [
            Item(named(c.probe), shown_in(c) if single else f"{shown_in(c)} {_checked(c, site)}", _link(c, site))
            for c in checks
        ],
        _link(first, site) if single else todo_url(site),
        site=site,
        after=[line.format(**words) for line in AFTER_FAILURE],
        facts=[check.pk for check in checks],
    )


def _checked(check: Check, site: Site) -> str:
    return f"Checked {styled(check.checked_at, site.zone)} by {check.name_of('checked_by')}."


def _link(check: Check, site: Site) -> str:
    """Its page; to people where the probe is by now, who may not see that, the page of the probe."""
    own = check.site_id == site.pk
    return reverse("check_detail", args=[check.pk]) if own else reverse("probe_detail", args=[check.probe_id])


def gone(now: datetime, event: int | None = None, looked: Looked | None = None) -> Gathered:
    """Probes that nobody has been told of as gone, or that of this event: a message to each site where one was last."""
    events = _news(Event.objects.filter(kind=EventKind.GONE), Kind.GONE, now, event, looked)
    events = events.select_related("probe__site__area").prefetch_related("recorded_by__names")
    told = [(each, each.at, [each.probe.site]) for each in events]
    return _at_their_sites(Kind.GONE, told, _gone, _until(Kind.GONE, now, event))


def _gone(site: Site, events: Sequence[Event]) -> Message:
    codes = list(dict.fromkeys(event.probe.code for event in events))
    it, link = noun(len(codes), "it", "they"), reverse("probe_detail", args=[events[0].probe_id])
    return Message(
        Kind.GONE,
        str(events[0].pk),
        f"{site}: {wording.probes(codes)} {noun(len(codes), 'is', 'are')} gone, hold the food that {it} judged",
        f"What was read since the last good check is in quarantine: {it} can never be checked again.",
        [Item(named(e.probe), _became(e, site), reverse("probe_detail", args=[e.probe_id])) for e in events],
        link if len(codes) == 1 else todo_url(site),
        site=site,
        after=[HOLD_GONE],
        facts=[event.pk for event in events],
    )


def _became(event: Event, site: Site) -> str:
    return f"{event.note.rstrip('.')}. {styled(event.at, site.zone)}, recorded by {event.name_of()}."


def passwords(now: datetime) -> Gathered:
    """To people whose password was set lately by a link, by mail alone: the pages tell them by themselves."""
    links = PasswordLink.objects.filter(untold(Kind.PASSWORD), used_at__gt=now - NEWS, person__is_active=True)
    if not settings.MAIL_WORKS:
        return Gathered()
    links = list(links.select_related("person", "made_by"))
    marks = [Notified(kind=Kind.PASSWORD, number=link.pk, at=link.used_at) for link in links]
    return Gathered([_password(link) for link in links], marks)


def _password(link: PasswordLink) -> Message:
    made, used = (styled(moment, clock_of(link.person)) for moment in (link.made_at, link.used_at))
    account = reverse("account")
    return Message(
        Kind.PASSWORD,
        str(link.pk),
        "Your password was set anew",
        f"It was set on {used}, by a link that {link.maker} made on {made}.",
        [Item("Your account", "See when and from where you signed in last.", account)],
        account,
        person=link.person,
        after=[WHOSE],
    )


def check_url(probe_id: int, away: bool) -> str:
    """Where the very check is made that is asked for."""
    return reverse(check_wanted(away).address, args=[probe_id])


def todo_url(site: Site) -> str:
    """Where all checks of a site are; the list of probes where there is no such page."""
    return address("today_site", site.pk) or reverse("probe_list")


def named(probe: Probe) -> str:
    return f"Probe {probe.code}, {probe.description}" if probe.description else f"Probe {probe.code}"
