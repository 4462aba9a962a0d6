"""Whether a day of a site is reviewed. Derived from the records of the day and the last review of it; nothing of it is stored.

The clock. A second person reads the records within seven working days, or as many as are set for the business.
- 21 CFR 117.165(a)(4)(i): records of monitoring and of corrective action are reviewed within 7 working days after they are
  made, or within a reasonable time that is justified, by (or under the oversight of) a preventive controls qualified
  individual. From memory; compare it with the text in force.
- 9 CFR 417.5(c): before the product is shipped; where practicable, signed and dated by somebody who did not make the records.
- Codex Alimentarius, General Principles of Food Hygiene, CXC 1-1969 (2022): records of monitoring are signed by whoever
  monitors, and by a responsible reviewing official. From memory.
Working days are those on which the site works; a site that never closes has the shorter clock.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from enum import StrEnum
from functools import cache, lru_cache
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from compliance.plans.calendar import DAY, Calendar, instant, local_day
from compliance.plans.queries import calendars
from shared.key_lists import among
from sites.models import Site

from .facts import FactsOfDay, SiteDay, days_with_records, facts_of
from .models import Meaning, Review

SHOWN_DAYS = 28  # that lists and reminders look back


class DayState(StrEnum):
    RUNNING = "running"
    NOTHING = "nothing"
    WAITING = "waiting"
    SENT_BACK = "sent_back"
    CHANGED = "changed"
    REVIEWED = "reviewed"


ASKS = (DayState.WAITING, DayState.SENT_BACK, DayState.CHANGED)


@dataclass(frozen=True, slots=True)
class ReviewedDay:
    """A day and what became of its review. `late`: it asks for one, and its clock is over."""

    day: date
    state: DayState
    facts: FactsOfDay
    review: Review | None
    late: bool

    @property
    def asks(self) -> bool:
        return self.state in ASKS


def judge(*, over: bool, facts: FactsOfDay, meaning: str | None, rested_on: int | None) -> DayState:
    """`meaning`, `rested_on`: of the last review of the day, None where there is none."""
    if not over:
        return DayState.RUNNING
    if meaning is None:
        return DayState.WAITING if facts else DayState.NOTHING
    if meaning == Meaning.SENT_BACK:
        return DayState.SENT_BACK
    return DayState.REVIEWED if rested_on == facts.count else DayState.CHANGED


def site_day(site: Site, day: date) -> SiteDay:
    return SiteDay(site.pk, day, *(instant(each, time.min, site.zone) for each in (day, day + DAY)))


def days_of(site: Site, first: date, last: date, now: datetime) -> list[ReviewedDay]:
    """Each day from first to last, the first first. Five queries for 500 days."""
    return judged([site], {site.pk: _span(first, last)}, now)[site.pk]


def lately(site: Site, now: datetime) -> list[ReviewedDay]:
    """The last 28 days that are over."""
    return lately_at([site], now)[site.pk]


def lately_at(sites: Sequence[Site], now: datetime) -> dict[int, list[ReviewedDay]]:
    """The same of many sites; it counts the records of all these days, which is for tasks that nobody waits for."""
    return judged(sites, _lately(sites, now), now)


def judged(sites: Sequence[Site], days: Mapping[int, Sequence[date]], now: datetime) -> dict[int, list[ReviewedDay]]:
    """Of each site, by its key, the days that are asked for."""
    by_day, clocks = last_reviews(days), calendars(sites)
    facts = facts_of([site_day(site, day) for site in sites for day in days[site.pk]])
    found = {}
    for site in sites:
        clock = ReviewClock(site, now, clocks[site.pk])
        told = ((day, facts[site.pk, day], by_day.get((site.pk, day))) for day in days[site.pk])
        found[site.pk] = [_judged(clock, *each) for each in told]
    return found


def _judged(clock: "ReviewClock", day: date, facts: FactsOfDay, review: Review | None) -> ReviewedDay:
    about = (review.meaning, review.rests_on.get(day.isoformat())) if review else (None, None)
    state = judge(over=day < clock.today, facts=facts, meaning=about[0], rested_on=about[1])
    return ReviewedDay(day, state, facts, review, state in ASKS and clock.is_over(day))


def unreviewed_by_site(sites: Sequence[Site], now: datetime) -> Counter[int]:
    """How many of the last 28 days nobody has reviewed in time, by the key of the site. Five queries for 500 days.

    It counts no records, so what changed after a review is not among them: the list of the site tells that.
    """
    clocks = _Clocks(now)
    waiting = _not_reviewed(sites, clocks, now)
    known = calendars(site for site, _ in waiting) if waiting else {}
    over = ((site, day) for site, days in waiting for day in days if clocks.of(site, known[site.pk]).is_over(day))
    return Counter(site for site, _ in days_with_records([site_day(*each) for each in over]))


def _not_reviewed(sites: Sequence[Site], clocks: "_Clocks", now: datetime) -> list[tuple[Site, list[date]]]:
    """Of the last 28 days those that nobody has reviewed and that may be over; sites without one are left out."""
    days, late, found = _lately(sites, now), {}, []
    reviewed = _reviewed(days)
    for site in sites:
        clock, done = clocks.of(site), reviewed[site.pk]
        if clock not in late:
            late[clock] = [day for day in days[site.pk] if clock.may_be_over(day)]
        if left := [day for day in late[clock] if day not in done]:
            found.append((site, left))
    return found


class _Clocks:
    """Of many sites most have the same clock, rules and calendar: what a day is to one it is to all of them."""

    def __init__(self, now: datetime):
        self._now, self._known = now, {}

    def of(self, site: Site, calendar: Calendar | None = None) -> "ReviewClock":
        like = site.time_zone, site.zone, site.area.business_id, id(calendar)
        if like not in self._known:
            self._known[like] = ReviewClock(site, self._now, calendar)
        return self._known[like]


class ReviewClock:
    """How long a review of a day of a site is in time."""

    def __init__(self, site: Site, now: datetime, calendar: Calendar | None = None):
        # By the clock that is set for it; of a site as it was once, by the one that was set then.
        self.site, self.calendar, self.today = site, calendar, local_day(now, ZoneInfo(site.time_zone))
        self._working: dict[date, bool] = {}
        self._over: dict[date, bool] = {}

    def may_be_over(self, day: date) -> bool:
        """Whether it would be, were all days working days. It asks for no calendar."""
        return (self.today - day).days > self.days_given(day)

    def is_over(self, day: date) -> bool:
        """Whether as many working days as were set then have passed."""
        if day not in self._over:
            self._over[day] = self._is_over(day)
        return self._over[day]

    def _is_over(self, day: date) -> bool:
        wanted, each = self.days_given(day), day + DAY
        while each < self.today and wanted > 0:
            wanted -= self._works(each)
            each += DAY
        return wanted <= 0

    def _works(self, day: date) -> bool:
        if day not in self._working:
            self._working[day] = self.calendar.is_open(day, instant(day, time.min, self.site.zone))
        return self._working[day]

    def days_given(self, day: date) -> int:
        business = self.site.area.business
        if not business.former:
            return business.review_days
        return business.rules_at(instant(day + DAY, time.min, self.site.zone)).review_days


def last_reviews(days: Mapping[int, Sequence[date]]) -> dict[tuple[int, date], Review]:
    """The last review of each day of each site. One query."""
    found = {}
    for review in _of_days(days).select_related("recorded_by").prefetch_related("recorded_by__names"):
        found.update({(review.site_id, day): review for day in _span(review.first_day, review.last_day)})
    return found


def _reviewed(days: Mapping[int, Sequence[date]]) -> Mapping[int, set[date]]:
    """Those of these days, by site, whose last review found them in order. One query."""
    found = defaultdict(set)
    for site, first_day, last_day, meaning in _of_days(days).values_list("site", "first_day", "last_day", "meaning"):
        take = found[site].update if meaning == Meaning.REVIEWED else found[site].difference_update
        take(_span(first_day, last_day))
    return found


def _of_days(days: Mapping[int, Sequence[date]]) -> QuerySet[Review]:
    """All reviews of these days, in their order."""
    asked = set().union(*days.values())
    if not asked:
        return Review.objects.none()
    found = Review.objects.filter(site__in=among(days), last_day__gte=min(asked), first_day__lte=max(asked))
    return found.order_by("pk")


def counts(days: Iterable[ReviewedDay]) -> Counter[DayState]:
    return Counter(each.state for each in days)


def _lately(sites: Iterable[Site], now: datetime) -> dict[int, tuple[date, ...]]:
    today = cache(lambda zone: local_day(now, zone))
    return {site.pk: _span(today(site.zone) - DAY * SHOWN_DAYS, today(site.zone) - DAY) for site in sites}


@lru_cache(maxsize=1000)  # sites ask for the same days, and reviews are of the same weeks
def _span(first: date, last: date) -> tuple[date, ...]:
    return tuple(first + DAY * n for n in range((last - first).days + 1))
