"""The rows of what probes are to be checked for: folded from their facts, and stored by their difference."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from itertools import starmap

from compliance.plans.calendar import DAY
from compliance.plans.models import Point, Reminder
from compliance.plans.obligation_lines import PlainReminder
from compliance.plans.obligations import Folded, ProbeFacts
from compliance.plans.queries import PlanBook
from compliance.plans.schedule import TICK
from compliance.plans.store import COLUMNS, NOT_ASKED, difference, write
from compliance.probes.models import Probe
from shared.prepared import Prepared, keys

from .models import ProbeState
from .probe_facts import fold, probe_facts

AHEAD = 40 * DAY
# What the state of a probe says of the next row.
NEXT = ("due_at", "due_because", "due_day", "grace_at", "point", "at_once_because")


def derive(facts: Mapping[int, ProbeFacts], now: datetime, because: str) -> dict[int, Folded]:
    """Store what these probes, by their key, are to be checked for. Call it with them locked. What is read takes
    the same statements for any number.

    `because` is printed with what was asked for and turns out not to be owed.
    """
    told, found, stored = {}, [], stored_rows(facts)
    for pk, known in facts.items():
        told[pk] = fold(known, now + AHEAD)
        found.append(difference(stored[pk], told[pk].rows, now, because))
    write(found)
    return told


_STORED = Prepared(lambda: Reminder.objects.filter(probe__in=keys()).order_by("due_at").values_list(*COLUMNS))


def stored_rows(probe_ids: Iterable[int]) -> dict[int, list[PlainReminder]]:
    found = defaultdict(list)
    for row in starmap(PlainReminder, _STORED.rows(probe_ids)):
        found[row.probe_id].append(row)
    return found


def derive_with_states(probes: Iterable[Probe], now: datetime, because: str, book: PlanBook | None = None) -> None:
    """The same where plans, days of work or settings were changed: the timeline stays.

    The queries do not grow with the probes. `book`: the plans that reach them, where they are read already.
    """
    told = derive(probe_facts(probes, book), now, because)
    states = [ProbeState(pk=pk, **said_of_next(folded)) for pk, folded in told.items()]
    ProbeState.objects.bulk_update(states, NEXT, batch_size=500)


def said_of_next(told: Folded) -> dict:
    """What the state of a probe says of the next row, or why there is none."""
    row = told.next
    return {
        "due_at": row and row.due_at,
        "due_because": (row.because if row else told.nothing)[:200],
        "due_day": row and row.day,
        "grace_at": row and row.grace_at,
        "point": row.point if row else Point.ZERO,
        "at_once_because": told.at_once,
    }


def differing(probes: Iterable[Probe], now: datetime) -> Iterator[tuple[Probe, Reminder, str]]:
    """Where what is stored of these probes is not what all their facts say: the row, and what is wrong with it."""
    probes = {probe.pk: probe for probe in probes}
    facts, stored = probe_facts(probes.values()), stored_rows(probes)
    for pk, known in facts.items():
        last = max((row.due_at for row in stored[pk]), default=now)
        told = fold(known, max(now, last - TICK))  # the last that is stored is the next after the others
        wrong = difference(stored[pk], told.rows, now, NOT_ASKED)
        yield from ((probes[pk], *each) for each in wrong.in_words())
