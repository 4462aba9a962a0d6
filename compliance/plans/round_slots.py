"""When readings of rounds are due: ahead, and in the time that passed while nobody made due times.

What has been written down is past and stays; a change moves what is to come, and when what is still open ends.
"""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db.models import F, Min

from compliance.limits.models import Limit, LimitVersion
from shared import clock
from sites.models import Site

from .calendar import DAY, Calendar, local_day
from .fallen import write_down_rounds
from .models import Horizon, Reminder, Round, RoundSlot
from .queries import calendars
from .schedule import FAR_OFF, graces, round_day, round_times, windows

ROUNDS_AHEAD = 8
MARGIN = 3 * DAY  # no due time has a say in the window of one further away than this
LONGEST = 2 * DAY  # no round stays open for more than one day
ROWS = 2000  # at a time
RETIRED = "the site no longer works under this limit"


@dataclass(frozen=True, slots=True)
class Chain:
    """The rounds ever set for one limit, the versions of the limit, and the calendar of its site."""

    limit: Limit
    rounds: list[Round]
    versions: list[tuple[datetime, bool]]
    calendar: Calendar

    def slots(self, first: date, last: date) -> list[RoundSlot]:
        """What is due on local days while the site works under the limit, each with its window; a moment once."""
        days = (first - MARGIN + DAY * ahead for ahead in range((last - first + 2 * MARGIN).days + 1))
        line = sorted({slot.due_at: slot for day in days for slot in self._of(day)}.values(), key=_due_at)
        for slot, grace in zip(line, graces(_pairs(line)), strict=True):
            slot.grace_at = grace
        shifts = {day: self.calendar.shift(day) for day in {slot.day for slot in line}}
        for slot, (opens, closes) in zip(line, windows(_pairs(line), [shifts[s.day] for s in line]), strict=True):
            slot.opens_at, slot.closes_at = opens, closes
        return [slot for slot in line if first <= slot.day <= last]

    def _of(self, day: date) -> Iterator[RoundSlot]:
        """Each moment of a day belongs to the round of that day that had been set last by then."""
        end = None
        for each in reversed([each for each in self.rounds if each.effective_from <= day]):
            yield from (slot for slot in self._by(each, day) if end is None or slot.due_at < end)
            end = each.recorded_at if end is None else min(end, each.recorded_at)
            if end <= self.calendar.instant(day, time()):
                return

    def _by(self, each: Round, day: date) -> Iterator[RoundSlot]:
        if not each.in_force:
            return
        plan = each.as_plan()
        grace = timedelta(minutes=plan.grace_minutes)
        for due in round_times(plan, self.calendar, day, day):
            if due.at >= each.recorded_at and self.holds(due.at):
                yield RoundSlot(site_id=self.limit.site_id, round=each, day=day, due_at=due.at, grace_at=due.at + grace,
                                because=due.because)  # fmt: skip

    def holds(self, at: datetime) -> bool:
        """Whether the site works under the limit at a moment."""
        begun = bisect_right(self.versions, at, key=lambda version: version[0])
        return begun > 0 and self.versions[begun - 1][1]


def chains(works: Mapping[int, Calendar]) -> list[Chain]:
    """Those of all limits of some sites that ever had rounds. Two queries."""
    rounds, versions = defaultdict(list), defaultdict(list)
    for each in (
        Round.objects.filter(limit__site__in=list(works)).select_related("limit").order_by("effective_from", "pk")
    ):
        rounds[each.limit].append(each)
    told = LimitVersion.objects.filter(limit__in=list(rounds)).order_by("effective_from", "pk")
    for pk, begins, holds in told.values_list("limit", "effective_from", "in_force"):
        versions[pk].append((begins, holds))
    return [Chain(limit, chain, versions[limit.pk], works[limit.site_id]) for limit, chain in rounds.items()]


def remake_rounds(site_ids: Iterable[int]) -> None:
    """Make the due times ahead at these sites anew, after a change of rounds, calendars or limits."""
    held = Site.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=list(site_ids))
    now = clock.now()
    works = calendars(held.select_related("area").order_by("pk"))
    catch_up(site_ids, now)
    make_rounds(works, now)


def make_rounds(works: Mapping[int, Calendar], now: datetime) -> None:
    """Make the due times ahead at these sites, and move the ends of what is open with them. What was due by now stays."""
    written, wanted, changed = _written(list(works), now), [], []
    for chain in chains(works):
        today, past = local_day(now, chain.calendar.zone), written.get(chain.limit.pk, [])
        have = {(row.round_id, row.due_at) for row in past}
        ahead = chain.slots(today - DAY, today + DAY * (ROUNDS_AHEAD - 1))
        ahead = [slot for slot in ahead if slot.due_at > now and (slot.round_id, slot.due_at) not in have]
        before = [(row.closes_at, row.cancelled_at) for row in past]
        _join(past, ahead, chain.calendar, now)
        _lift(past, chain, now)
        changed += [row for row, was in zip(past, before, strict=True) if (row.closes_at, row.cancelled_at) != was]
        wanted += ahead
    Reminder.objects.bulk_update(changed, ["closes_at", "cancelled_at", "cancelled_because"], batch_size=500)
    _store(wanted, list(works))
    _reach(works, now)


def _written(site_ids: list[int], now: datetime) -> dict[int, list[Reminder]]:
    """What has been written down lately, by limit, the first first."""
    lately = Reminder.objects.filter(site__in=site_ids, round__isnull=False, due_at__gt=now - LONGEST)
    found = defaultdict(list)
    for row in lately.select_related("round").order_by("due_at", "pk"):
        found[row.round.limit_id].append(row)
    return found


def _join(past: list[Reminder], ahead: list[RoundSlot], calendar: Calendar, now: datetime) -> None:
    """One window after the other where what is past meets what is to come: no reading is for both, and none taken is lost."""
    if not past or not ahead:
        return
    last, following = past[-1], ahead[0]
    shifts = [calendar.shift(day) for day in (_day_of(last, calendar), following.day)]
    (_, closes), (opens, _) = windows(_pairs([last, following]), shifts)
    if last.closes_at > now:
        last.closes_at = max(closes, now)
    following.opens_at = max(opens, last.closes_at)


def _day_of(row: Reminder, calendar: Calendar) -> date:
    return round_day(row.round.as_plan(), calendar, row.due_at)


def _lift(past: list[Reminder], chain: Chain, now: datetime) -> None:
    """Where a day turns out to be closed, or the limit is retired, what is open is asked for no longer; or it is again."""
    for row in past:
        if row.closes_at <= now:
            continue
        because = chain.calendar.is_open(_day_of(row, chain.calendar))[1]
        because = because or ("" if chain.holds(row.due_at) and chain.holds(now) else RETIRED)
        if bool(because) != bool(row.cancelled_at):
            row.cancelled_at, row.cancelled_because = (now, because) if because else (None, "")


def lift_retired(version: LimitVersion) -> None:
    """After another version of a limit: nothing was asked for while the site did not work under it, whenever that is entered.

    What a reading has cleared stays so. Where the limit holds again, what was not taken under it was missed again.
    """
    later = LimitVersion.objects.filter(limit=version.limit_id, effective_from__gt=version.effective_from)
    until = later.aggregate(first=Min("effective_from"))["first"] or FAR_OFF
    rows = Reminder.objects.filter(round__limit=version.limit_id, due_at__gte=version.effective_from, due_at__lt=until)
    if version.in_force:  # what was open when the limit was retired, and due before, stays lifted
        rows = rows.filter(cancelled_because=RETIRED, cancelled_at__lte=F("due_at"))
        rows.update(cancelled_at=None, cancelled_because="")
    else:
        rows.filter(cancelled_at__isnull=True).update(cancelled_at=version.effective_from, cancelled_because=RETIRED)


def _store(wanted: list[RoundSlot], site_ids: list[int]) -> None:
    """Only rows that differ are written; those that have come are written down by now, and go."""
    told = [field.attname for field in RoundSlot._meta.concrete_fields if not field.primary_key]
    rows = {(slot.round_id, slot.due_at): slot for slot in wanted}
    same, gone = set(), []
    for row in RoundSlot.objects.filter(site__in=site_ids).iterator(chunk_size=ROWS):
        slot = rows.get((row.round_id, row.due_at))
        if slot is None:
            gone.append(row.pk)
        elif all(getattr(row, name) == getattr(slot, name) for name in told):
            same.add((row.round_id, row.due_at))
    if gone:
        RoundSlot.objects.filter(pk__in=gone).delete()
    names = ["site", "day", "opens_at", "grace_at", "closes_at", "because"]
    RoundSlot.objects.bulk_create(
        [slot for key, slot in rows.items() if key not in same], update_conflicts=True,
        unique_fields=["round", "due_at"], update_fields=names, batch_size=ROWS,
    )  # fmt: skip


def _reach(works: Mapping[int, Calendar], now: datetime) -> None:
    """Keep up to which day the due times of each site are made."""
    known = dict(Horizon.objects.filter(site__in=list(works)).values_list("site", "rounds_until"))
    _keep(known, {pk: local_day(now, calendar.zone) + DAY * ROUNDS_AHEAD for pk, calendar in works.items()})


def _keep(known: Mapping[int, date], until: Mapping[int, date]) -> None:
    moved = [Horizon(site_id=pk, rounds_until=day) for pk, day in until.items() if known.get(pk, date.min) < day]
    Horizon.objects.bulk_create(moved, update_conflicts=True, unique_fields=["site"], update_fields=["rounds_until"])


def catch_up(site_ids: Iterable[int], now: datetime) -> None:
    """Write down the readings at these sites that have fallen due by now, those too whose due times nobody has made.

    Call it before a change of calendars: what was due by the old ones stays in the record.
    """
    chosen = list(site_ids)
    write_down_rounds(now, chosen)
    made = dict(Horizon.objects.filter(site__in=chosen, rounds_until__lte=(now + DAY).date()).values_list(
        "site", "rounds_until"))  # fmt: skip
    if not made:
        return
    works = calendars(Site.objects.filter(pk__in=made).select_related("area").order_by("pk"))
    waiting: list[Reminder] = []
    for row in _fallen(works, made, now):
        waiting.append(row)
        if len(waiting) == ROWS:
            Reminder.objects.bulk_create(waiting, ignore_conflicts=True)
            waiting = []
    Reminder.objects.bulk_create(waiting, ignore_conflicts=True)
    _keep(made, {pk: local_day(now, works[pk].zone) for pk in made})


def _fallen(works: Mapping[int, Calendar], made: Mapping[int, date], now: datetime) -> Iterator[Reminder]:
    """A few days of one limit at a time, so that a long standstill takes no more memory than a short one."""
    for chain in chains(works):
        begin, today = made[chain.limit.site_id], local_day(now, chain.calendar.zone)
        while begin <= today:
            for slot in chain.slots(begin, begin + DAY * (ROUNDS_AHEAD - 1)):
                if slot.due_at <= now:
                    yield Reminder(
                        round_id=slot.round_id, site_id=slot.site_id, opens_at=slot.opens_at,
                        due_at=slot.due_at, grace_at=slot.grace_at, closes_at=slot.closes_at, because=slot.because,
                    )  # fmt: skip
            begin += DAY * ROUNDS_AHEAD


def _due_at(each: RoundSlot | Reminder) -> datetime:
    return each.due_at


def _pairs(line: Iterable[RoundSlot | Reminder]) -> list[tuple[datetime, datetime]]:
    return [(each.due_at, each.grace_at) for each in line]
