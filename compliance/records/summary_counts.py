"""The numbers of the first page, each counted by the database and once; the sections tell the same ones."""

from collections import Counter, defaultdict
from dataclasses import dataclass, field

from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from compliance.checks.fitness import Fitness
from compliance.checks.models import Check, Verdict
from compliance.checks.span_times import reached_at
from compliance.metrology.bracketing import Cause
from compliance.readings.bursts import Burst, bursts_of
from compliance.readings.models import CorrectiveAction, Deviation, Disposition, Reading, ReadingVoid
from compliance.readings.queries import MADE_AT_THE_TIME

from .case_rows import CaseHere, cases_here
from .check_history import checks_in, late_and_overdue
from .scope import RecordScope, once
from .statements import asked

WHICH = 12
HOLD_MISSING = Q(limit_version__hold_s__gt=0, hold_s__isnull=True)
START_MISSING = Q(limit_version__within_s__gt=0, since_start_s__isnull=True)
COUNTED = {  # which readings are counted under which name
    "late": Q(recorded_at__gt=F("taken_at") + MADE_AT_THE_TIME),
    "untimed": HOLD_MISSING | START_MISSING,
    "to_check_first": Q(fitness=Fitness.CHECK_FIRST),
    "not_to_be_used": Q(fitness=Fitness.DO_NOT_USE),
}
AFTER_FAILURE = (Cause.USED_AFTER_FAILURE.value, Cause.USED_AFTER_FAR_FAILURE.value)


@dataclass(slots=True)
class CheckCount:
    """The checks of the period by their numbers, such as "C12". One without a figure counts as failed."""

    by_verdict: dict[str, list[str]]
    late: list[str]
    overdue: list[str]
    void: int = 0
    without_figure: list[str] = field(default_factory=list)
    void_failures: list[str] = field(default_factory=list)

    @property
    def made(self) -> int:
        return sum(map(len, self.by_verdict.values()))

    @property
    def passed(self) -> list[str]:
        return self.by_verdict[Verdict.IN_TOLERANCE]

    @property
    def failed(self) -> list[str]:
        return self.by_verdict[Verdict.OUT_OF_TOLERANCE]

    @property
    def inconclusive(self) -> list[str]:
        return self.by_verdict[Verdict.INCONCLUSIVE]


@once
def count_checks(scope: RecordScope) -> CheckCount:
    """Checks by what they came to; void ones by themselves."""
    told = CheckCount({verdict.value: [] for verdict in Verdict}, *late_and_overdue(scope))
    for pk, verdict, no_figure, void in _verdicts(scope):
        verdict = Verdict.OUT_OF_TOLERANCE.value if no_figure else verdict
        if void:
            told.void += 1
            told.void_failures += [f"C{pk}"] * (verdict == Verdict.OUT_OF_TOLERANCE)
            continue
        told.by_verdict[verdict].append(f"C{pk}")
        told.without_figure += [f"C{pk}"] * bool(no_figure)
    return told


@asked
def _verdicts(scope: RecordScope) -> QuerySet[Check]:
    return checks_in(scope).order_by("checked_at", "pk").values_list("pk", "verdict", "no_figure", "void__pk")


@dataclass(slots=True)
class ReadingCount:
    """Readings without void ones, which `void` counts. `untimed`: of a limit that asks for a time, where none is given."""

    by_standing: Counter = field(default_factory=Counter)
    late: int = 0
    untimed: int = 0
    to_check_first: int = 0
    not_to_be_used: int = 0
    void: int = 0
    after_failure: Counter = field(default_factory=Counter)  # by the key of the probe

    @property
    def taken(self) -> int:
        return self.by_standing.total()


@once
def count_readings(scope: RecordScope) -> ReadingCount:
    """Counts of the readings of the period, in one query but for the void ones."""
    told = ReadingCount()
    for standing, cause, probe, number, *counts in _counted(scope):
        told.by_standing[standing] += number
        for name, count in zip(COUNTED, counts, strict=True):
            setattr(told, name, getattr(told, name) + count)
        if cause in AFTER_FAILURE:
            told.after_failure[probe] += number
    told.void = sum(number for _, number in _void(scope))
    return told


@asked
def _counted(scope: RecordScope) -> QuerySet[Reading]:
    counts = {name: Count("pk", filter=which) for name, which in COUNTED.items()}
    live = scope.judged().live().order_by().annotate(cause=_grouped(reached_at().values("cause")))
    return live.values_list("standing", "cause", "probe_id").annotate(n=Count("pk"), **counts)


@asked
def _void(scope: RecordScope) -> QuerySet[ReadingVoid]:
    struck = ReadingVoid.objects.filter(voids__in=scope.readings().order_by().values("pk"))
    return struck.order_by().values_list("voids__site").annotate(n=Count("pk"))


@once
def bursts_here(scope: RecordScope) -> list[Burst]:
    """Readings of different times that one person entered at one go."""
    return bursts_of(scope.site, scope.start, scope.end, scope.now)


def deviations_of(scope: RecordScope) -> QuerySet[Deviation]:
    """Deviations of readings of the period, and those of earlier ones that something was done about in it; for statements."""
    current = CorrectiveAction.objects.current().filter(deviation=OuterRef("pk"))
    held = current.filter(disposition=Disposition.HELD)
    found = Deviation.objects.filter(pk__in=scope.deviation_keys)
    return found.filter(recorded_at__lte=scope.now).annotate(acted=Exists(current), held=Exists(held))


@dataclass(frozen=True, slots=True)
class DeviationCount:
    """Of live readings of the period: open until it is recorded what was done; of the closed ones, what became of the food."""

    open: int
    food: Counter

    @property
    def closed(self) -> int:
        return self.food.total()

    @property
    def total(self) -> int:
        return self.open + self.closed


@once
def count_deviations(scope: RecordScope) -> DeviationCount:
    food = Counter(dict(_became_of_food(scope)))
    return DeviationCount(food.pop("", 0), food)


@asked
def _became_of_food(scope: RecordScope) -> QuerySet[Deviation]:
    current = CorrectiveAction.objects.current().filter(deviation=OuterRef("pk")).order_by("-pk")
    live = deviations_of(scope).live("reading")
    taken = live.filter(reading__taken_at__gte=scope.start, reading__taken_at__lt=scope.end).order_by()
    became = taken.annotate(food=_grouped(current.values("disposition")))
    return became.values_list("food").annotate(n=Count("pk"))


def _grouped(found: QuerySet) -> Coalesce:
    """The first of a row's own look-up, empty without one. Bare, it would be grouped by what it looks up with, row by row."""
    return Coalesce(Subquery(found[:1]), Value(""))


@dataclass(frozen=True, slots=True)
class CaseCount:
    """The cases that touch the period, by their state; `readings` and `undecided` of them all, at this site."""

    by_state: dict[str, list[CaseHere]]
    readings: int
    undecided: int

    @property
    def total(self) -> int:
        return sum(map(len, self.by_state.values()))


@once
def count_cases(scope: RecordScope) -> CaseCount:
    by_state = defaultdict(list)
    cases = cases_here(scope)
    for case in cases:
        by_state[case.state].append(case)
    return CaseCount(by_state, sum(case.readings for case in cases), sum(case.undecided for case in cases))


def titles(cases: list[CaseHere]) -> str:
    return named([case.title for case in cases])


def named(which: list[str]) -> str:
    """The first few of a list, saying how many more there are."""
    text = ", ".join(which[:WHICH])
    return f"{text} and {len(which) - WHICH:,} more" if len(which) > WHICH else text
