"""The cases of quarantine that a record speaks of, and their readings with what was decided."""

from collections import namedtuple
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from itertools import groupby

from django.db.models import Case, F, Q, QuerySet, Subquery, Value, When

from compliance.checks.models import BEGINNING, END, Span
from compliance.checks.span_times import reached_at
from compliance.metrology.assessment import ErrorBounds
from compliance.quarantine.assessing import bounds_of
from compliance.quarantine.cases import Summary, load_case, spans_of, speaks_of, summaries
from compliance.quarantine.models import Decision, Signature
from compliance.quarantine.queries import WHY
from compliance.quarantine.reopening import Reopened, reopened
from compliance.quarantine.struck_out import StruckOut, struck_out_of
from compliance.readings.models import Reading
from shared.append_only import is_live

from .scope import RecordScope, once


@dataclass(slots=True)
class CaseHere:
    """One run in quarantine with readings at the site; counts are of the whole run at this site."""

    anchor: str
    spans: list[Span]
    signatures: list[Signature]
    readings: int
    undecided: int
    signed: bool
    reopened: Reopened | None = None
    struck: list[StruckOut] = field(default_factory=list)

    @property
    def probe(self):
        return self.spans[0].probe

    @property
    def title(self) -> str:
        """What began it: the number of the check or event."""
        kind, _, number = self.anchor.partition(":")
        return f"{'C' if kind == 'check' else 'E'}{number}"

    @property
    def starts_at(self) -> datetime | None:
        return None if self.spans[0].starts_at == BEGINNING else self.spans[0].starts_at

    @property
    def ends_at(self) -> datetime | None:
        return None if self.spans[-1].ends_at == END else self.spans[-1].ends_at

    @property
    def state(self) -> str:
        return "open" if self.undecided else "signed" if self.signed else "to_sign"

    @property
    def reasons(self) -> list[str]:
        return [WHY[cause] for cause in dict.fromkeys(span.cause for span in self.spans) if cause in WHY]


@once
def cases_here(scope: RecordScope) -> list[CaseHere]:
    """Cases with readings at the site that overlap the period, or were decided on or signed in it; in order of time."""
    found = {line.anchor: line for line in summaries([scope.site.pk])}
    acted = set(_decided_in(scope).values_list("case", flat=True).distinct())
    probes = {line.probe_id for line in found.values()}
    signatures = list(Signature.objects.filter(probe__in=probes, recorded_at__lte=scope.now).order_by("pk"))
    acted |= {s.case for s in signatures if scope.holds(s.recorded_at)}
    wanted = [
        a for a, line in found.items() if a in acted or line.starts_at < scope.end and line.ends_at >= scope.start
    ]
    related = ("probe", "behind", "ahead", "doubt")
    spans = spans_of(wanted).select_related(*related).order_by("anchor", "ends_at")
    runs = {anchor: list(group) for anchor, group in groupby(spans, key=lambda span: span.anchor)}
    struck = struck_out_of(runs)
    cases = [_case(found[anchor], run, signatures, struck[anchor], scope) for anchor, run in runs.items()]
    return sorted(cases, key=lambda case: (case.spans[0].starts_at, case.anchor))


def _case(
    line: Summary, spans: list[Span], signatures: list[Signature], struck: list[StruckOut], scope: RecordScope
) -> CaseHere:
    again = reopened(load_case(line.anchor), scope.zone) if line.reopened else None
    own = [s for s in signatures if s.probe_id == line.probe_id and speaks_of(s, spans)]
    here = (each for each in struck if each.reading.site_id == scope.site.pk)
    told = [each for each in here if each.void.recorded_at <= scope.now]
    return CaseHere(line.anchor, spans, own, line.readings, line.undecided, line.signed, again, told)


def _decided_in(scope: RecordScope) -> QuerySet[Decision]:
    """Decisions made in the period on readings of the site, whenever those were taken."""
    return Decision.objects.filter(reading__site=scope.site, **scope.within("recorded_at")).order_by()


ACT = ("fate", "decided_at", "decided_by", "recorded_by", "why", "risk", "told", "evidence", "good")
FIELDS = {
    "place": "place",
    "span": "span",
    "pk": "pk",
    "at": "taken_at",
    "item": "item",
    "version": "limit_version_id",
    "typed": "typed",
    "unit": "unit",
    "milli": "value_milli",
    "hold_s": "hold_s",
    "since_start_s": "since_start_s",
    "by": "taken_by_id",
    "recorded_at": "recorded_at",
    "void": "void__pk",
    "decision": "decisions__pk",
    "outcome": "decisions__outcome",
    "replaced": "decisions__replaced_by__pk",
    "fate": "decisions__fate",
    "decided_at": "decisions__recorded_at",
    "decided_by": "decisions__decided_by_id",
    "recorded_by": "decisions__recorded_by_id",
    "why": "decisions__why",
    "risk": "decisions__risk",
    "told": "decisions__told",
    "evidence": "decisions__evidence",
    "good": "decisions__good_reading__pk",
    "good_item": "decisions__good_reading__item",
    "good_typed": "decisions__good_reading__typed",
    "good_unit": "decisions__good_reading__unit",
    "good_milli": "decisions__good_reading__value_milli",
    "good_at": "decisions__good_reading__taken_at",
    "good_probe": "decisions__good_reading__probe__code",
    "good_former": "decisions__good_reading__probe__former",
    "good_standing": "decisions__good_standing",
}
Held = namedtuple("Held", FIELDS)


def act_of(row: Held) -> tuple | None:
    """What makes rows one decision: made at once, by one person, in the same words; None where nothing is decided."""
    return None if row.decision is None else (bool(row.replaced), *(getattr(row, name) for name in ACT))


def held_rows(scope: RecordScope, cases: list[CaseHere]) -> Iterator[Held]:
    """Readings with their decisions, case by case, the undecided ones first; one query, streamed.

    Each reading of the period in quarantine, and each decision that was made in the period or on a reading of it. What
    belongs to no case any more comes last, with `place` the number of cases.
    """
    reached = reached_at()
    of_period = Q(taken_at__gte=scope.start, taken_at__lt=scope.end) | Q(pk__in=_decided_in(scope).values("reading"))
    places = [When(anchor=case.anchor, then=Value(number)) for number, case in enumerate(cases)]
    in_a_case = Q(place__lt=len(cases)) & is_live(Reading)
    rows = (
        Reading.objects.filter(of_period, site=scope.site, recorded_at__lte=scope.now)
        .annotate(anchor=Subquery(reached.values("anchor")[:1]), span=Subquery(reached.values("pk")[:1]))
        .annotate(place=Case(*places, default=Value(len(cases))))
        .filter(in_a_case | Q(decisions__isnull=False))
        .order_by("place", F("decisions__recorded_at").asc(nulls_first=True), "decisions__fate", "taken_at", "pk")
        .values_list(*FIELDS.values())
    )
    return map(Held._make, rows.iterator(chunk_size=1000))


def bounds_by_span(cases: list[CaseHere]) -> dict[int, ErrorBounds]:
    spans = [span for case in cases for span in case.spans]
    return {span.pk: error for span, error in zip(spans, bounds_of(spans), strict=True)}
