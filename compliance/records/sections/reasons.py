"""Which reasons people gave again and again: what an excuse is worth shows in how often it was used."""

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from django.db.models import Count, F, Q, QuerySet, Value

from compliance.advice.models import Acceptance
from compliance.checks.models import CheckVoid
from compliance.limits.models import LimitVersion
from compliance.plans.models import CheckPlan, Opening
from compliance.probes.models import Event, EventVoid, Placement
from compliance.quarantine.models import Decision
from compliance.readings.models import CorrectiveAction, ReadingVoid
from compliance.reminders.models import Excuse, ExcuseVoid
from shared.printing.flow import Writer
from shared.printing.table import Column, Row

from ..scope import RecordScope
from ..statements import asked
from .corrections import struck_out
from .days import closures

COLUMNS = [Column("Reason", share=1.2), Column("Times", align="center", points=40), Column("Given for", share=2)]
OFTEN = 10
EXPLAINED = (
    "Reasons that this record prints, counted whatever they were given for; capitals, spaces and a full stop at the end make no "
    "other reason."
)


def write(writer: Writer, scope: RecordScope) -> None:
    empty = "No reason was given more than ten times in the period."
    rows = map(_row, reasons_given_often(scope))
    if writer.listing(COLUMNS, rows, empty=empty, heading="Reasons given more than ten times"):
        writer.paragraph(EXPLAINED, small=True)


@dataclass(frozen=True, slots=True)
class Reason:
    """A reason in the spelling that was used most, and how often it was given for what, the most frequent first."""

    words: str
    total: int
    uses: list[tuple[str, int]]


def reasons_given_often(scope: RecordScope) -> list[Reason]:
    """The reasons that this record prints more than ten times, the most frequent first. Case, spaces and a full stop at the
    end make no other reason."""
    spelt, uses = defaultdict(Counter), defaultdict(Counter)
    for use, words, count in _given(scope):
        spelt[folded(words)][words.strip()] += count
        uses[folded(words)][use] += count
    often = {key: sum(counts.values()) for key, counts in uses.items() if key and sum(counts.values()) > OFTEN}
    found = [Reason(_likeliest(spelt[key]), total, uses[key].most_common()) for key, total in often.items()]
    return sorted(found, key=lambda reason: (-reason.total, reason.words))


def _row(reason: Reason) -> Row:
    uses = "\n".join(f"{use}: {count}" for use, count in reason.uses)
    return Row((reason.words, reason.total, uses))


def folded(words: str) -> str:
    return " ".join(words.casefold().split()).strip(" .!…")


def _likeliest(spelt: Counter) -> str:
    return min(spelt, key=lambda words: (-spelt[words], words))


def _given(scope: RecordScope) -> Iterator[tuple[str, str, int]]:
    """For what, which words, how often; counted by the database, so that only different reasons are held."""
    yield from ((use, words, count) for _, use, words, count in sorted(_counted(scope)))
    for closure in closures(scope):
        yield "closed days", closure.why, 1
        if void := getattr(closure, "void", None):
            yield "closed days struck out", void.reason, 1
    for why, *_ in _decisions(scope):
        yield "decision on readings in quarantine", why, 1


@asked
def _counted(scope: RecordScope) -> QuerySet:
    """One statement for all of them, with the place of each: what is given as often stands in that order."""
    parts = [
        found.exclude(**{field: ""}).order_by().annotate(place=Value(place), use=Value(use), words=F(field))
        for place, (use, found, field) in enumerate(_sources(scope))
    ]
    first, *others = [part.values_list("place", "use", "words").annotate(Count("pk")) for part in parts]
    return first.union(*others, all=True)


def _sources(scope: RecordScope) -> Iterator[tuple[str, QuerySet, str]]:
    probes, site = scope.probe_keys, scope.site
    due = {"reminder__due_at__gte": scope.start, "reminder__due_at__lt": scope.reached}
    excuses = Excuse.objects.live().filter(reminder__site=site, recorded_at__lte=scope.now, **due)
    causes = CorrectiveAction.objects.current().filter(deviation__in=scope.deviation_keys)
    set_here = Q(site=site) | Q(business=scope.business) | Q(probe__in=probes)
    begun = {"effective_from__gte": scope.first, "effective_from__lte": scope.last, "recorded_at__lte": scope.now}
    yield "check or reading not done, excused", excuses, "reason"
    yield "probe used though it was not to be", scope.readings().live(), "used_despite"
    for word, model, time, place in (
        ("reading", ReadingVoid, "taken_at", Q(voids__site=site)),
        ("check", CheckVoid, "checked_at", Q(voids__probe__in=probes)),
        ("event of a probe", EventVoid, "at", Q(voids__probe__in=probes)),
    ):
        yield f"{word} struck out or corrected", struck_out(model, scope, time).filter(place), "reason"
    yield "event of a probe", _of_probes(Event, scope, "at").live(), "note"
    yield "probe moved", _of_probes(Placement, scope, "starts_at"), "reason"
    yield "interval against the advice", _of_probes(Acceptance, scope, "recorded_at"), "why"
    yield "cause of a deviation", causes.filter(recorded_at__lte=scope.now), "cause"
    of_site = struck_out(ExcuseVoid, scope, "reminder__due_at").filter(voids__reminder__site=site)
    yield "excuse struck out", of_site, "reason"
    yield "hours of work set", Opening.objects.filter(site=site, **begun), "reason"
    yield "plan of checks set", CheckPlan.objects.filter(set_here, **begun), "reason"
    yield "limit set", LimitVersion.objects.filter(limit__site=site, **scope.within("effective_from")), "reason"


def _of_probes(model, scope: RecordScope, time: str) -> QuerySet:
    return model.objects.filter(probe__in=scope.probe_keys, **scope.within(time))


@asked
def _decisions(scope: RecordScope) -> QuerySet:
    """What was decided at once on many readings is one reason."""
    here = Q(reading__taken_at__gte=scope.start, reading__taken_at__lt=scope.end) | Q(**scope.within("recorded_at"))
    made = Decision.objects.current().filter(here, reading__site=scope.site, recorded_at__lte=scope.now)
    return made.exclude(why="").order_by().values_list("why", "recorded_at", "decided_by", "fate").distinct()
