"""The week of an area for its supervisors: what failed, what was missed, what waits, which probes drift."""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.db.models import Count, F, Prefetch, QuerySet
from django.db.models.functions import Abs, Coalesce
from django.urls import reverse
from django.utils.dateformat import format as dated

from compliance.advice import wording as outlook_words
from compliance.advice.outlook import Outlook
from compliance.advice.queries import outlooks_of
from compliance.checks.check_page import shown_in
from compliance.checks.models import Check, Verdict
from compliance.plans.calendar import DAY
from compliance.plans.pace import batches
from compliance.probes.models import Probe
from compliance.quarantine.cases import doubts
from compliance.reminders.missed import not_in_time
from compliance.reviews.days import DayState, lately_at
from compliance.reviews.wording import to_do_in_words
from shared.audit.chain import newest_of
from shared.audit.head import head_line
from shared.plurals import noun, plural
from sites.addresses import address
from sites.models import Area, Site

from . import timing
from .message_sources import Gathered, Item, Message, untold
from .models import Notified
from .recipients import Kind

KEEP_MAIL = (
    "Keep this mail: it can show later whether what was entered until now was changed behind the program's back."
)
CHANGED, SENT_BACK = DayState.CHANGED, DayState.SENT_BACK
NAMED, LOOKED_AT = 20, 100  # failed checks that are named; probes, over all areas, whose drift is worked out
TOGETHER = 100  # sites whose week is held in memory, and written, at one go
Drifting = Mapping[int, Sequence[Outlook]]  # by area


def digests(now: datetime) -> Iterator[Gathered]:
    """One message an area and week, on Monday morning on the clock of its first site; of the areas of some sites at a time.

    An area that is looked at for the first time begins with the next: there is no week to tell of yet.
    """
    due = list(Area.objects.filter(untold(Kind.DIGEST, at__gt=now)).values_list("pk", flat=True))
    open_areas = Area.objects.filter(pk__in=due, sites__closed=False).order_by("pk")
    sizes = dict(open_areas.values_list("pk").annotate(Count("sites")))
    known = set(Notified.objects.filter(kind=Kind.DIGEST, number__in=sizes).values_list("number", flat=True))
    drifting = _drifting(known, now) if known else {}
    for some in batches(sizes.items(), TOGETHER):
        sites = Site.objects.filter(closed=False).select_related("area__business").order_by("pk")
        open_sites = Prefetch("sites", sites, to_attr="open_sites")
        areas = list(Area.objects.filter(pk__in=some).order_by("pk").prefetch_related(open_sites))
        next_at = {area.pk: timing.next_digest_at(now, zone_of(area)) for area in areas}
        notified = [Notified(kind=Kind.DIGEST, number=pk, at=at) for pk, at in next_at.items()]
        yield Gathered(list(_messages([area for area in areas if area.pk in known], now, drifting)), notified)


def _drifting(areas: Collection[int], now: datetime) -> Drifting:
    """Asked once for all: what probes are compared with is the whole business."""
    found = defaultdict(list)
    for outlook in outlooks_of(_most_used(_in_use(areas)), now):
        if outlook.state in ("soon", "moving"):
            found[outlook.past.probe.site.area_id].append(outlook)
    return found


def _messages(areas: Sequence[Area], now: datetime, drifting: Drifting) -> Iterator[Message]:
    week = _Week(areas, now, drifting) if areas else None
    for area in areas:
        message = week.message(area)
        if week.probes[area.pk] or message.items:
            yield message


def _in_use(areas: Collection) -> QuerySet[Probe]:
    return Probe.objects.filter(site__area__in=areas, site__closed=False, withdrawn=False)


def zone_of(area: Area) -> ZoneInfo:
    return area.open_sites[0].zone


class _Week:
    """What is counted of all areas together, to be told area by area."""

    def __init__(self, areas: Sequence[Area], now: datetime, drifting: Drifting):
        self.spans = {area.pk: timing.digest_span(now, zone_of(area)) for area in areas}
        self.first, self.last = min(s for s, _ in self.spans.values()), max(e for _, e in self.spans.values())
        self.probes = Counter(dict(_in_use(areas).order_by().values_list("site__area").annotate(Count("pk"))))
        self.failed = self._by_area(_failed(areas, self.first, self.last), "recorded_at")
        site_areas = {site.pk: area.pk for area in areas for site in area.open_sites}
        missed = not_in_time(site_areas, self.first, self.last, now).select_related("site")
        self.missed = self._by_area(missed, "grace_at")
        self.undecided = Counter()
        for doubt in doubts(site_areas):
            self.undecided[site_areas[doubt.site_id]] += doubt.undecided
        self.drifting = drifting
        self.reviews = lately_at([site for area in areas for site in area.open_sites], now)
        zones = {area.business_id: zone_of(area) for area in areas}
        self.heads = {business: head_line(newest_of(business), zone) for business, zone in zones.items()}

    def _by_area(self, records, moment: str) -> dict[int, list]:
        found = defaultdict(list)
        for record in records:
            start, end = self.spans[record.site.area_id]
            if start <= getattr(record, moment) < end:
                found[record.site.area_id].append(record)
        return found

    def message(self, area: Area) -> Message:
        start, end = (moment.astimezone(zone_of(area)) for moment in self.spans[area.pk])
        until, monday = dated(end - DAY / 2, "j M Y"), end.date()
        link = address("area_detail", area.pk) or reverse("probe_list")
        said = f"From {dated(start, 'j M')} to {until}: {plural(self.probes[area.pk], 'probe')} in use."
        missed = self._missed(area, link, start.date())
        items = [*self._failed(area), *missed, *self._waiting(area), *self._reviews(area), *self._drifting(area)]
        return Message(
            Kind.DIGEST,
            f"{area.pk}:{monday}",
            f"{area}: the week to {until}, {self._in_short(area)}",
            said if items else f"{said} No check failed, none was missed, nothing waits.",
            items,
            link,
            area=area,
            after=[f"{line}. {KEEP_MAIL}" for line in [self.heads[area.business_id]] if line],
        )

    def _in_short(self, area: Area) -> str:
        failed, missed = len(self.failed[area.pk]), len(self.missed[area.pk])
        counted = [f"{count} {word}" for count, word in ((failed, "failed"), (missed, "missed")) if count]
        return ", ".join(counted) or "all checks made"

    def _failed(self, area: Area) -> list[Item]:
        checks = self.failed[area.pk]
        items = [
            Item(f"{c.site}: probe {c.probe} failed", shown_in(c), reverse("check_detail", args=[c.pk]))
            for c in checks[:NAMED]
        ]
        if len(checks) > NAMED:
            items.append(Item(f"{len(checks) - NAMED} more failed", "See the area.", reverse("probe_list")))
        return items

    def _missed(self, area: Area, link: str, week: date) -> list[Item]:
        """Each leads to the list of exactly these."""
        by_site = Counter(reminder.site for reminder in self.missed[area.pk])
        listed = address("area_missed", area.pk)
        return [
            Item(
                f"{site}: {count} missed",
                f"{noun(count, 'A check or reading', 'Checks or readings')} fell due and {noun(count, 'was', 'were')} "
                "neither made nor excused.",
                f"{listed}?site={site.pk}&week={week:%Y-%m-%d}" if listed else link,
            )
            for site, count in sorted(by_site.items(), key=lambda each: (each[0].name, each[0].pk))
        ]

    def _waiting(self, area: Area) -> list[Item]:
        count = self.undecided[area.pk]
        says = "They may not be relied on until somebody decides on them."
        return [Item(f"{plural(count, 'reading')} in quarantine", says, reverse("case_list"))] if count else []

    def _reviews(self, area: Area) -> list[Item]:
        """Of each site the days of four weeks that nobody has reviewed in time, that were not accepted, or changed since."""
        found = []
        for site in area.open_sites:
            days = [each for each in self.reviews[site.pk] if each.late or each.state in (CHANGED, SENT_BACK)]
            link = reverse("review_list", args=[site.pk])
            if days:
                found.append(Item(f"{site}: {plural(len(days), 'day')} to review", f"{to_do_in_words(days)}.", link))
        return found

    def _drifting(self, area: Area) -> list[Item]:
        drifting = [(each.past.probe, outlook_words.prospect(each)) for each in self.drifting.get(area.pk, ())]
        return [
            Item(f"{probe.site}: probe {probe} drifts", says, reverse("probe_outlook", args=[probe.pk]))
            for probe, says in drifting
        ]


def _failed(areas, first: datetime, last: datetime):
    """By when they were entered: what is entered after a digest is in the next."""
    checks = Check.objects.live().filter(
        site__area__in=areas, recorded_at__gte=first, recorded_at__lt=last, verdict=Verdict.OUT_OF_TOLERANCE
    )
    return checks.select_related("probe", "site").order_by("checked_at", "pk")


def _most_used(in_use: QuerySet[Probe]) -> list[Probe]:
    """The probes whose last check found them farthest out; the measurement is put to these alone."""
    error, expanded = F("state__last_check__error_milli"), Coalesce(F("state__last_check__expanded_milli"), 0)
    found = in_use.filter(state__last_check__error_milli__isnull=False)
    found = found.annotate(used=(Abs(error) + expanded) * 1.0 / F("tolerance_milli")).order_by("-used", "pk")
    return list(found.select_related("site__area", "business", "state")[:LOOKED_AT])
