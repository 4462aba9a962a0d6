"""What one record covers: a site, and a period of whole days on the site's own clock."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from functools import cached_property, wraps
from typing import TypeVar

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery

from compliance.checks.queries import standing_subquery
from compliance.probes.models import Placement
from compliance.readings.models import CorrectiveAction, Deviation, Import, Reading
from shared.audit.chain import newest_of
from shared.audit.models import Entry
from shared.bounds import EARLIEST, LATEST, not_come_yet
from shared.dated import told_at
from shared.time_text import day_words
from sites.models import Area, Business, Paper, Site

from .people import People
from .probes import ProbeHere, probes_here


class PeriodRefused(ValueError):
    """A period that cannot be printed; the message says what to do."""


@dataclass(frozen=True, kw_only=True)
class RecordScope:
    """A site, as it was at their end, and the days from `first` to `last`, both included; printed at `now` by `printed_by`."""

    site: Site
    first: date
    last: date
    printed_by: str
    now: datetime
    paper: str = Paper.A4
    people: People = field(default_factory=People.load)
    about_probes: str = (
        "Every probe that was placed, read or checked at the site in the period. Its checks at other sites are shown too, "
        "because they decide what its readings here are worth."
    )
    known: dict = field(default_factory=dict, compare=False, repr=False)

    def __post_init__(self):
        check_period(self.first, self.last, self.now.astimezone(self.zone).date())
        object.__setattr__(self, "site", self.site.settings_at(self.reached))

    @cached_property
    def business(self) -> Business:
        """By its name at the end of the period, as the site is."""
        return self.site.area.business.rules_at(self.reached)

    @cached_property
    def head(self) -> Entry | None:
        """The newest entry of the trail when this was begun: all that was entered before is held by it."""
        return newest_of(self.business.pk)

    @cached_property
    def area(self) -> Area:
        """Where the site was then."""
        told = told_at(self.site.former, self.reached)
        return Area.objects.get(pk=told["area_id"]) if told else self.site.area

    @cached_property
    def zone(self) -> tzinfo:
        return self.site.zone

    @cached_property
    def start(self) -> datetime:
        """The midnight that begins the first day, in UTC."""
        return midnight(self.first, self.zone)

    @cached_property
    def end(self) -> datetime:
        """The midnight that ends the last day, in UTC; itself outside."""
        return midnight(self.last + timedelta(days=1), self.zone)

    @cached_property
    def zone_names(self) -> str:
        """What the clock of the site was called in the period, such as “BST, GMT”."""
        days = (self.start + timedelta(days=n) for n in range(0, (self.reached - self.start).days + 1))
        return ", ".join(dict.fromkeys(at.astimezone(self.zone).tzname() for at in (*days, self.reached)))

    def named(self, record):
        """A plan or a closure of this site or business, under the name that this record has for it."""
        if record.site_id == self.site.pk:
            record.site = self.site
        elif record.business_id == self.business.pk:
            record.business = self.business
        return record

    @property
    def reached(self) -> datetime:
        """How far the period has come: its end, or the time of printing if that is earlier."""
        return max(self.start, min(self.end, self.now))

    @property
    def period(self) -> str:
        first, last = day_words(self.first), day_words(self.last)
        return first if self.first == self.last else f"{first} to {last}"

    @cached_property
    def begun(self) -> datetime:
        """When the site, or the first probe there, reached the book; the time of printing where none has."""
        told = self.site.settings_facts.order_by("recorded_at").values_list("recorded_at", flat=True).first()
        placed = Placement.objects.filter(site=self.site).order_by("recorded_at").values_list("recorded_at", flat=True)
        return min(filter(None, (told, placed.first(), self.now)))

    @property
    def before_book(self) -> str:
        """Since when the book is kept, where the period begins before it."""
        if midnight(self.begun.astimezone(self.zone).date(), self.zone) <= self.start:
            return ""
        return f"The book of this site is kept since {day_words(self.begun.astimezone(self.zone).date())}"

    def none(self, words: str) -> str:
        """A sentence that says that something is not there, and that this says nothing of the time before the book."""
        if not self.before_book:
            return words
        return f"{words} {self.before_book}, so this says nothing of the days before."

    @cached_property
    def was_read(self) -> bool:
        return self.readings().exists()

    def holds(self, at: datetime) -> bool:
        return self.start <= at < self.end

    def within(self, name: str) -> dict:
        """The period as conditions on a time called `name`, with what reached the record before it was printed."""
        return {f"{name}__gte": self.start, f"{name}__lt": self.end, "recorded_at__lte": self.now}

    def readings(self) -> QuerySet[Reading]:
        """Every reading taken here in the period, void ones too, in the order in which they were taken."""
        return Reading.objects.filter(site=self.site, **self.within("taken_at")).order_by("taken_at", "pk")

    def judged(self) -> QuerySet[Reading]:
        """Those readings with their standing."""
        return self.readings().annotate(standing=standing_subquery())

    @cached_property
    def probes(self) -> list[ProbeHere]:
        """Every probe that was placed, read or checked here in the period, by code."""
        return probes_here(self.site, self.start, self.end, self.now)

    @cached_property
    def deviation_keys(self) -> list[int]:
        """Deviations of readings of the period, and those of earlier ones that something was done about in it. Looked up with
        each reading of the site: of a join PostgreSQL may begin with the deviations of all sites."""
        own = Subquery(Deviation.objects.filter(reading=OuterRef("pk")).values("pk")[:1])
        acted = CorrectiveAction.objects.filter(deviation=OuterRef("own"), **self.within("recorded_at"))
        taken = Q(taken_at__gte=self.start, taken_at__lt=self.end)
        here = Reading.objects.filter(site=self.site).order_by().annotate(own=own).filter(own__isnull=False)
        return list(here.filter(taken | Exists(acted)).values_list("own", flat=True))

    @cached_property
    def file_keys(self) -> list[int]:
        """Files that a reading of the period came from, and those that were brought in in the period for this site alone."""
        came = self.readings().order_by().exclude(source=None).values_list("source", flat=True).distinct()
        brought = Q(site=self.site, recorded_at__gte=self.start, recorded_at__lt=self.end)
        found = Import.objects.filter(Q(pk__in=list(came)) | brought, recorded_at__lte=self.now)
        return list(found.values_list("pk", flat=True))

    @property
    def probe_keys(self) -> list[int]:
        return [here.probe.pk for here in self.probes]


Figures = TypeVar("Figures")


def once(work_out: Callable[[RecordScope], Figures]) -> Callable[[RecordScope], Figures]:
    """Worked out once for a record, so that its parts cannot tell two figures for one thing."""

    @wraps(work_out)
    def found(scope: RecordScope) -> Figures:
        if found not in scope.known:
            scope.known[found] = work_out(scope)
        return scope.known[found]

    return found


def check_period(first: date, last: date, today: date) -> None:
    """Raises PeriodRefused where no record can cover these days; `today` on the clock of the site."""
    if last < first:
        raise PeriodRefused(f"The period ends before it begins. Give a last day that is not before {day_words(first)}.")
    if first < EARLIEST or last > LATEST:
        raise PeriodRefused(f"Give days between {day_words(EARLIEST)} and {day_words(LATEST)}.")
    if told := not_come_yet(last, today):
        raise PeriodRefused(told)


def midnight(on: date, zone: tzinfo) -> datetime:
    """The first instant of a day on the clock of a zone, in UTC; also where the clocks skip midnight."""
    return datetime.combine(on, time.min, tzinfo=zone).astimezone(UTC)
