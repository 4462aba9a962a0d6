"""The numbers of the summary, each counted by the database."""

from dataclasses import dataclass

from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Subquery

from compliance.checks.fitness import Fitness
from compliance.checks.models import Standing, Verdict
from compliance.readings.models import CorrectiveAction, Deviation, Disposition, Reading, ReadingVoid
from compliance.readings.queries import MADE_AT_THE_TIME
from shared.key_lists import among

from .case_rows import CaseHere, cases_here
from .check_history import History, checks_in
from .scope import RecordScope

WHICH = 12


@dataclass(frozen=True, slots=True)
class CheckCount:
    made: int
    by_verdict: list[tuple[str, int, str]]
    late: list[str]
    overdue: list[str]
    void: int


def count_checks(scope: RecordScope) -> CheckCount:
    """Counts of checks, naming those that did not pass."""
    found: dict[str, list[str]] = {verdict.value: [] for verdict in Verdict}
    void = 0
    for pk, verdict, struck in checks_in(scope).order_by("checked_at", "pk").values_list("pk", "verdict", "void__pk"):
        if struck:
            void += 1
        else:
            found[verdict].append(f"C{pk}")
    history = History(scope)
    by_verdict = [
        (v.label, len(found[v]), "" if v == Verdict.IN_TOLERANCE else named(found[v], len(found[v]))) for v in Verdict
    ]
    made = sum(map(len, found.values()))
    return CheckCount(made, by_verdict, history.late(), history.overdue(), void)


@dataclass(frozen=True, slots=True)
class ReadingCount:
    taken: int
    by_standing: list[tuple[str, int]]
    late: int
    to_check_first: int
    not_to_be_used: int
    no_hold: int
    void: int


def count_readings(scope: RecordScope) -> ReadingCount:
    """Counts of readings by standing; void ones by themselves."""
    live = scope.judged().live().order_by()
    late = Count("pk", filter=Q(recorded_at__gt=F("taken_at") + MADE_AT_THE_TIME))
    unfit = {state: Count("pk", filter=Q(fitness=state)) for state in (Fitness.CHECK_FIRST, Fitness.DO_NOT_USE)}
    no_hold = Count("pk", filter=Q(limit_version__hold_s__gt=0, hold_s__isnull=True))
    counts = live.values("standing").annotate(n=Count("pk"), late=late, no_hold=no_hold, **unfit)
    rows = {row["standing"]: row for row in counts}
    by_standing = [(s.label, rows[s]["n"] if s in rows else 0) for s in Standing]
    void = ReadingVoid.objects.filter(voids__in=scope.readings().order_by().values("pk")).count()
    marked = (sum(row[name] for row in rows.values()) for name in ("late", *unfit, "no_hold"))
    return ReadingCount(sum(n for _, n in by_standing), by_standing, *marked, void)


def deviations_of(scope: RecordScope) -> QuerySet[Deviation]:
    """Deviations of readings of the period, and those of earlier ones that something was done about in it."""
    current = CorrectiveAction.objects.current().filter(deviation=OuterRef("pk"))
    held = current.filter(disposition=Disposition.HELD)
    found = Deviation.objects.filter(pk__in=among(_deviations_here(scope)))
    return found.filter(recorded_at__lte=scope.now).annotate(acted=Exists(current), held=Exists(held))


def _deviations_here(scope: RecordScope) -> QuerySet:
    """Their keys, looked up with each reading of the site: of a join PostgreSQL may begin with the deviations of all sites."""
    own = Subquery(Deviation.objects.filter(reading=OuterRef("pk")).values("pk")[:1])
    acted = CorrectiveAction.objects.filter(deviation=OuterRef("own"), **scope.within("recorded_at"))
    taken = Q(taken_at__gte=scope.start, taken_at__lt=scope.end)
    here = Reading.objects.filter(site=scope.site).order_by().annotate(own=own).filter(own__isnull=False)
    return here.filter(taken | Exists(acted)).values_list("own", flat=True)


def count_deviations(scope: RecordScope) -> tuple[int, int]:
    """(open, closed): of live readings of the period; open until it is recorded what was done."""
    live = deviations_of(scope).live("reading")
    taken = live.filter(reading__taken_at__gte=scope.start, reading__taken_at__lt=scope.end)
    numbers = taken.aggregate(closed=Count("pk", filter=Q(acted=True)), every=Count("pk"))
    return numbers["every"] - numbers["closed"], numbers["closed"]


@dataclass(frozen=True, slots=True)
class CaseCount:
    total: int
    open: int
    open_which: str
    to_sign: int
    to_sign_which: str
    signed: int


def count_cases(scope: RecordScope) -> CaseCount:
    cases = cases_here(scope)
    still_open, to_sign = ([case for case in cases if case.state == state] for state in ("open", "to_sign"))
    signed = len(cases) - len(still_open) - len(to_sign)
    return CaseCount(len(cases), len(still_open), _titles(still_open), len(to_sign), _titles(to_sign), signed)


def _titles(cases: list[CaseHere]) -> str:
    return named([case.title for case in cases[:WHICH]], len(cases))


def named(shown: list[str], total: int) -> str:
    """The first few of a list, saying how many more there are."""
    text = ", ".join(shown[:WHICH])
    return f"{text} and {total - WHICH} more" if total > WHICH else text
