"""The rows of readings that are to be taken: what the fold says of each limit, some days ahead and always the next one."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from functools import reduce
from operator import iadd

from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Subquery

from compliance.limits.models import Limit
from sites.models import Site

from .calendar import DAY, LONG_PAST
from .facts import limit_facts, site_facts
from .models import Reminder, Round
from .pace import Pace
from .round_obligations import RoundObligation, round_obligations
from .store import Difference, difference, write

AHEAD = 8 * DAY
LONGEST = 2 * DAY  # no reading stays open for more than one
TOGETHER = 40  # limits that are looked through at a time
FIRST = 5  # sites in the first transaction of the night


def derive_rounds(site_ids: Iterable[int], now: datetime, because: str, since: datetime | None = None) -> None:
    """Store what is asked for at these sites after something was set for them, by default just now, else at a moment `since`.

    `because`: why what nothing asks for any more is cancelled, where it cannot be deleted. Call it in the transaction of the
    change, which holds the sites.
    """
    changed = (since or now) - LONGEST
    limits = {limit: min(changed, limit.last or LONG_PAST) for limit in _with_rounds(site_ids)}
    write(reduce(iadd, _differences(limits, now, because).values(), Difference()))


def extend_rounds(site_ids: Iterable[int], now: datetime) -> None:
    """Append what has come within the days ahead. Run again it writes nothing. The few sites where there is something to
    append are held, and looked at once more, in short transactions."""
    pace = Pace(FIRST, TOGETHER)
    for some in _batches(site_ids):
        lacking = {limit.site_id for limit, found in _ahead(some, now).items() if found}
        for few in pace.in_turn(sorted(lacking)):
            with pace.transaction():
                list(Site.objects.select_for_update(no_key=True).filter(pk__in=few).order_by("pk").values_list("pk"))
                write(reduce(iadd, _ahead(few, now).values(), Difference()))


def _ahead(site_ids: Iterable[int], now: datetime) -> dict[Limit, Difference]:
    """What is to be appended for each limit; what has begun stays as it is."""
    found = _differences({limit: limit.last or LONG_PAST for limit in _with_rounds(site_ids)}, now, "")
    return {
        limit: Difference(each.added, [row for row in each.changed if row.recorded_at is None])
        for limit, each in found.items()
    }


def differing_rounds(limit_ids: Iterable[int], now: datetime) -> Iterator[tuple[Limit, Difference]]:
    """The limits whose rows are not what all their facts say, folded anew, with what would have to be written."""
    limits = {limit: LONG_PAST for limit in _with_last(Limit.objects.filter(pk__in=list(limit_ids)))}
    for limit, found in _differences(limits, now, "").items():
        next_one = min((row.due_at for row in found.added if row.due_at > now), default=now)
        reached = limit.last if limit.last and limit.last > now else next_one
        found.added = [row for row in found.added if row.due_at <= reached]
        if found:
            yield limit, found


def _with_rounds(site_ids: Iterable[int]) -> QuerySet[Limit]:
    return _with_last(Limit.objects.filter(site__in=list(site_ids)))


def _with_last(limits: QuerySet[Limit]) -> QuerySet[Limit]:
    """Those that ever had rounds, with the due time of the last row of each."""
    last = Reminder.objects.filter(limit=OuterRef("pk")).order_by("-due_at").values("due_at")[:1]
    rounds = Exists(Round.objects.filter(limit=OuterRef("pk")))
    return limits.filter(rounds).annotate(last=Subquery(last)).order_by("pk")


def _batches(site_ids: Iterable[int]) -> Iterator[list[int]]:
    """Sites that have rounds and are not closed for good, together where they have few."""
    having = Limit.objects.filter(site__in=list(site_ids), site__closed=False, rounds__isnull=False)
    having = having.order_by("site").values_list("site")
    some, many = [], 0
    for pk, limits in having.annotate(Count("pk", distinct=True)):
        if some and many + limits > TOGETHER:
            yield some
            some, many = [], 0
        some.append(pk)
        many += limits
    if some:
        yield some


def _differences(since: Mapping[Limit, datetime], now: datetime, because: str) -> dict[Limit, Difference]:
    """What is to be written for each limit of what is due from a moment on. A constant number of queries."""
    if not since:
        return {}
    sites = site_facts(Site.objects.filter(pk__in={limit.site_id for limit in since}).select_related("area"))
    facts, stored = limit_facts(since, sites), _stored(since)
    found = {}
    for limit, begin in since.items():
        wanted = [_row(limit, row) for row in round_obligations(facts[limit.pk], now + AHEAD, begin)]
        found[limit] = difference(stored[limit.pk], wanted, now, because)
    return found


def _stored(since: Mapping[Limit, datetime]) -> dict[int, list[Reminder]]:
    by_begin = defaultdict(list)
    for limit, begin in since.items():
        by_begin[begin].append(limit)
    wanted = Q()
    for begin, limits in by_begin.items():
        standing = Q(due_at__gte=max(begin, LONG_PAST + LONGEST) - LONGEST, recorded_at__isnull=True)
        wanted |= Q(limit__in=limits) & (Q(due_at__gte=begin) | standing)
    found = defaultdict(list)
    for row in Reminder.objects.filter(wanted).order_by("due_at"):
        found[row.limit_id].append(row)
    return found


def _row(limit: Limit, wanted: RoundObligation) -> Reminder:
    moments = {
        "opens_at": wanted.opens,
        "due_at": wanted.due,
        "grace_at": wanted.grace_ends,
        "closes_at": wanted.closes,
    }
    told = {"limit": limit, "round_id": wanted.key, "site_id": limit.site_id, "day": wanted.day}
    return Reminder(**told, **moments, because=wanted.because, point="", cancelled_because="")
