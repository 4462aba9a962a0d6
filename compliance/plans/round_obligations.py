"""When readings are to be taken against a limit, of it or of one of its appliances: a pure fold over what was ever set. No
clock, no database.

What has fallen due stays. A change moves what is to come, and when the last that is open ends. Only that an appliance was out of
use is a fact of its own time: what fell due in it is not owed, whenever that is entered.
"""

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from itertools import pairwise

from .calendar import DAY, LONG_PAST, LOOK_AHEAD, Calendar
from .obligation_lines import OPEN_END, PlainReminder
from .obligations import SiteFacts
from .schedule import RoundPlan, graces, round_times, windows

MARGIN = 3 * DAY  # no due time has a say in the window of one further away than this


@dataclass(frozen=True, slots=True)
class RoundSet:
    """Rounds from a local day on, as they were set at a moment (`told`)."""

    since: date
    told: datetime
    in_force: bool
    plan: RoundPlan


@dataclass(frozen=True, slots=True)
class VersionSet:
    """Whether the site works under the limit from a moment on, as it was set at another (`told`)."""

    since: datetime
    told: datetime
    in_force: bool


@dataclass(frozen=True, slots=True)
class LimitFacts:
    """One limit, or one appliance of it: the rounds and the versions in the order in which they begin, and of those of one
    beginning as they were set.

    `asked`: whether the rounds ask for it, and since when that is known. `out_of_use`: from when up to when, or on and on, an
    appliance was out of use. `limit`, `appliance`: the keys.
    """

    site: SiteFacts
    rounds: tuple[RoundSet, ...] = ()
    versions: tuple[VersionSet, ...] = ()
    asked: tuple[tuple[datetime, bool], ...] = ((LONG_PAST, True),)
    out_of_use: tuple[tuple[datetime, datetime | None], ...] = ()
    limit: int | None = None
    appliance: int | None = None

    def owes(self, at: datetime) -> bool:
        return not any(begin <= at and (end is None or at < end) for begin, end in self.out_of_use)


def asked_of_itself(presences: Iterable[Sequence[tuple[datetime, bool]]]) -> tuple[tuple[datetime, bool], ...]:
    """Whether rounds ask for a limit itself: while none of its appliances is measured. Each is given as `LimitFacts.asked`."""
    measured, found = set(), [(LONG_PAST, True)]
    told = ((at, number, there) for number, presence in enumerate(presences) for at, there in presence)
    for at, number, there in sorted(told, key=lambda each: each[0]):
        measured = measured | {number} if there else measured - {number}
        found.append((at, not measured))
    return tuple(found)


def round_obligations(facts: LimitFacts, until: datetime, since: datetime = LONG_PAST) -> list[PlainReminder]:
    """All that is asked for up to a moment, which is not before the last of the facts, and the next after it.

    Where a moment is given `since` which, only what is due from it on, folded from a few days before it alone.
    """
    begin = since if since == LONG_PAST else since - MARGIN
    moments = sorted({at for at in _set_at(facts) if at >= _begin(facts)})
    moments = moments[max(bisect_right(moments, begin) - 1, 0) :]
    rows: list[PlainReminder] = []
    for at, end in pairwise([*moments, OPEN_END]):
        known = _Known(facts, at)
        last = end == OPEN_END
        ahead = _join(rows, known.ahead(max(at, begin), min(end, until), last=last), known.calendar, at)
        rows += [row for row in ahead if row.due_at <= (until if last else end)]
        rows += [row for row in ahead if row.due_at > until and facts.owes(row.due_at)][: 1 if last else 0]
    return [row for row in rows if row.due_at >= since and facts.owes(row.due_at)]


def _set_at(facts: LimitFacts) -> set[datetime]:
    told = {each.told for each in (*facts.rounds, *facts.versions)}
    return facts.site.changes() | told | {at for at, _ in facts.asked if at > LONG_PAST}


def _begin(facts: LimitFacts) -> datetime:
    return min((each.told for each in facts.rounds), default=OPEN_END)


class _Known:
    """What was known of a limit at a moment."""

    def __init__(self, facts: LimitFacts, at: datetime):
        self.at = at
        self.asks = [asks for told, asks in ((LONG_PAST, False), *facts.asked) if told <= at][-1]
        self._facts, self._owes = facts, facts.owes
        self.calendar = facts.site.known_at(at)
        self._rounds = [each for each in facts.rounds if each.told <= at]
        self._versions = [each for each in facts.versions if each.told <= at]

    def ahead(self, since: datetime, until: datetime, *, last: bool) -> list[PlainReminder]:
        """Up to a moment and a little further, so that the windows are known; where nothing is set after it, the next too."""
        if not self.asks:
            return []
        begin, end = self.calendar.local_day(since) - DAY, self.calendar.local_day(until) + MARGIN
        found = list(self._between(begin, end))
        beyond = min((row.day for row in found if row.due_at > until and self._owes(row.due_at)), default=None)
        if last and beyond is None and self._owes(OPEN_END):
            days = (end + DAY * ahead for ahead in range(1, LOOK_AHEAD))
            beyond = next((day for day in days if any(self._owes(row.due_at) for row in self._of(day))), None)
        if last and beyond:
            found += self._between(end + DAY, beyond + MARGIN)
        fresh = {row.due_at: row for row in found if row.due_at > self.at}
        return [fresh[due] for due in sorted(fresh)]

    def _between(self, begin: date, end: date) -> Iterator[PlainReminder]:
        for ahead in range((end - begin).days + 1):
            yield from self._of(begin + DAY * ahead)

    def _of(self, day: date) -> Iterator[PlainReminder]:
        """Each moment of a day belongs to the round of that day that had been set last by then."""
        end = None
        for each in reversed([each for each in self._rounds if each.since <= day]):
            yield from (row for row in self._by(each, day) if end is None or row.due_at < end)
            end = each.told if end is None else min(end, each.told)

    def _by(self, each: RoundSet, day: date) -> Iterator[PlainReminder]:
        if not each.in_force or not self._may_hold(day):
            return
        for due in round_times(each.plan, self.calendar, day):
            if due.at >= each.told and self._holds(due.at):
                yield PlainReminder(
                    site_id=self._facts.site.key,
                    point="",
                    day=day,
                    due_at=due.at,
                    opens_at=due.at,
                    grace_at=due.at + each.plan.grace,
                    closes_at=due.at,
                    because=due.because,
                    round_id=each.plan.key,
                    limit_id=self._facts.limit,
                    appliance_id=self._facts.appliance,
                )

    def _may_hold(self, day: date) -> bool:
        """Wherever it is: of a limit that was retired years ago no day is looked at more closely."""
        begin = datetime.combine(day, time(), UTC) - DAY
        return self._holds(begin) or any(begin < each.since <= begin + 4 * DAY for each in self._versions)

    def _holds(self, at: datetime) -> bool:
        begun = [each for each in self._versions if each.since <= at]
        return bool(begun) and begun[-1].in_force


def _join(
    rows: list[PlainReminder], ahead: list[PlainReminder], calendar: Calendar, at: datetime
) -> list[PlainReminder]:
    """With their windows, one after the other; that of the last row until now goes on to where the next begins."""
    ends, shifts = graces(_pairs(ahead)), {row.day: calendar.shift(row.day) for row in (*rows[-1:], *ahead)}
    for row, grace in zip(ahead, ends, strict=True):
        row.grace_at = grace
    spans = windows(_pairs(ahead), [shifts[row.day] for row in ahead])
    for row, span in zip(ahead, spans, strict=True):
        row.opens_at, row.closes_at = span
    if rows:
        last, *following = line = [*rows[-1:], *ahead[:1]]
        joined = windows(_pairs(line), [shifts[row.day] for row in line])
        if last.closes_at > at:
            last.closes_at = max(joined[0][1], at)
        for row in following:
            row.opens_at = max(joined[1][0], last.closes_at)
    return ahead


def _pairs(rows: Iterable[PlainReminder]) -> list[tuple[datetime, datetime]]:
    return [(row.due_at, row.grace_at) for row in rows]
