"""The rows of readings that are to be taken: what the fold says of each limit, or of each of its appliances, some days ahead and
always the next one."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from itertools import starmap

from django.db.models import Count, DateTimeField, Exists, OuterRef, Q, QuerySet, Subquery

from compliance.appliances.models import Appliance
from compliance.limits.models import Limit
from shared.prepared import Prepared, Slot, keys
from sites.models import Site

from .calendar import DAY, LONG_PAST
from .facts import Line, limit_facts, site_facts
from .models import Reminder, Round
from .obligation_lines import PlainReminder
from .pace import Pace, batches, lock_sites
from .round_obligations import round_obligations
from .store import COLUMNS, NOT_ASKED, Difference, difference, write

AHEAD = 8 * DAY
LONGEST = 2 * DAY  # no reading stays open for more than one
TOGETHER = 40  # limits that are looked through at a time
FIRST = 5  # sites in the first transaction of the night


@dataclass(frozen=True, slots=True)
class RoundLine:
    """What rounds ask for: readings under a limit or, where it has some, of one of its appliances. `last`: when the last row that
    is stored falls due."""

    limit: Limit
    appliance: Appliance | None
    last: datetime | None

    @property
    def key(self) -> Line:
        return self.limit.pk, self.appliance and self.appliance.pk


def derive_rounds(site_ids: Iterable[int], now: datetime, because: str, since: datetime | None = None) -> None:
    """Store what is asked for at these sites after something was set for them, by default just now, else at a moment `since`.

    `because`: why what nothing asks for any more is cancelled, where it cannot be deleted. Call it in the transaction of the
    change, which holds the sites.
    """
    changed = (since or now) - LONGEST
    lines = {line: min(changed, line.last or LONG_PAST) for line in _lines_at(site_ids)}
    write(_differences(lines, now, because).values())


def extend_rounds(site_ids: Iterable[int], now: datetime) -> None:
    """Append what has come within the days ahead. Run again it writes nothing. The few sites where there is something to
    append are held, and looked at once more, in short transactions."""
    pace = Pace(FIRST, TOGETHER)
    for some in _batches(site_ids):
        lacking = {line.limit.site_id for line, found in _ahead(some, now).items() if found}
        for few in pace.in_turn(sorted(lacking)):
            with pace.transaction():
                lock_sites(few)
                write(_ahead(few, now).values())


def _ahead(site_ids: Iterable[int], now: datetime) -> dict[RoundLine, Difference]:
    """What is to be appended for each line; what has begun stays as it is."""
    found = _differences({line: line.last or LONG_PAST for line in _lines_at(site_ids)}, now, "")
    return {
        line: Difference(each.added, [row for row in each.changed if row.recorded_at is None])
        for line, each in found.items()
    }


def differing_rounds(limit_ids: Iterable[int], now: datetime) -> Iterator[tuple[Limit, Reminder, str]]:
    """Where rows of these limits, or of their appliances, are not what all facts say: the row, and what is wrong with it."""
    lines = dict.fromkeys(_lines(_LIMITS.objects(limit_ids)), LONG_PAST)
    for line, found in _differences(lines, now, NOT_ASKED).items():
        next_one = min((row.due_at for row in found.added if row.due_at > now), default=now)
        reached = line.last if line.last and line.last > now else next_one
        found.added = [row for row in found.added if row.due_at <= reached]
        yield from ((line.limit, *each) for each in found.in_words())


def _last(rows: QuerySet[Reminder]) -> Subquery:
    return Subquery(rows.order_by("-due_at").values("due_at")[:1])


def _ever_rounds(limits: QuerySet[Limit]) -> QuerySet[Limit]:
    """With when the last row of each falls due."""
    own = Reminder.objects.filter(limit=OuterRef("pk"), appliance__isnull=True)
    having = limits.filter(Exists(Round.objects.filter(limit=OuterRef("pk"))))
    return having.annotate(last=_last(own)).order_by("pk")


_AT_SITES = Prepared(lambda: _ever_rounds(Limit.objects.filter(site__in=keys())))
_LIMITS = Prepared(lambda: _ever_rounds(Limit.objects.filter(pk__in=keys())))
_APPLIANCES = Prepared(
    lambda: (
        Appliance.objects.filter(limit__in=keys())
        .annotate(last=_last(Reminder.objects.filter(appliance=OuterRef("pk"))))
        .order_by("pk")
    )
)
_SITES = Prepared(lambda: Site.objects.filter(pk__in=keys()).select_related("area").order_by())


def _lines_at(site_ids: Iterable[int]) -> list[RoundLine]:
    return _lines(_AT_SITES.objects(site_ids))


def _lines(limits: Iterable[Limit]) -> list[RoundLine]:
    """Of these limits and of all their appliances. One query."""
    found = [RoundLine(limit, None, limit.last) for limit in limits]
    known = {line.limit.pk: line.limit for line in found}
    appliances = _APPLIANCES.objects(known)
    return found + [RoundLine(known[each.limit_id], each, each.last) for each in appliances]


def _batches(site_ids: Iterable[int]) -> Iterator[list[int]]:
    """Sites that have rounds and are not closed for good, together where they have few."""
    having = Limit.objects.filter(site__in=list(site_ids), site__closed=False, rounds__isnull=False)
    return batches(having.order_by("site").values_list("site").annotate(Count("pk", distinct=True)), TOGETHER)


def _differences(since: Mapping[RoundLine, datetime], now: datetime, because: str) -> dict[RoundLine, Difference]:
    """What is to be written for each line of what is due from a moment on. A constant number of queries."""
    if not since:
        return {}
    limits = {line.limit for line in since}
    sites = site_facts(_SITES.objects({limit.site_id for limit in limits}))
    facts, stored = limit_facts(limits, sites), _stored(since)
    found = {}
    for line, begin in since.items():
        wanted = round_obligations(facts[line.key], now + AHEAD, begin)
        found[line] = difference(stored[line.key], wanted, now, because)
    return found


def _stored(since: Mapping[RoundLine, datetime]) -> dict[Line, list[PlainReminder]]:
    by_begin: dict[datetime, list[RoundLine]] = defaultdict(list)
    for line, begin in since.items():
        by_begin[begin].append(line)
    told: dict[str, object] = {}
    for number, (begin, lines) in enumerate(by_begin.items()):
        told[f"begin{number}"] = begin
        told[f"standing{number}"] = max(begin, LONG_PAST + LONGEST) - LONGEST
        told[f"limits{number}"] = [line.limit.pk for line in lines if line.appliance is None]
        told[f"appliances{number}"] = [line.appliance.pk for line in lines if line.appliance]
    found = defaultdict(list)
    for row in starmap(PlainReminder, _rows_of(len(by_begin)).rows(**told)):
        found[row.limit_id, row.appliance_id].append(row)
    return found


@lru_cache(maxsize=TOGETHER)
def _rows_of(begins: int) -> Prepared:
    """The rows of lines of which so many are looked at from different moments on."""

    def make() -> QuerySet:
        wanted = Q()
        for number in range(begins):
            begin, standing = (Slot(f"{name}{number}", DateTimeField()) for name in ("begin", "standing"))
            due = Q(due_at__gte=begin) | Q(due_at__gte=standing, recorded_at__isnull=True)
            of_limit = Q(limit__in=keys(f"limits{number}"), appliance__isnull=True)
            wanted |= (of_limit | Q(appliance__in=keys(f"appliances{number}"))) & due
        return Reminder.objects.filter(wanted).order_by("due_at").values_list(*COLUMNS)

    return Prepared(make)
