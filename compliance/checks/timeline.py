"""A probe's timeline as rows: cut again from its live checks and alterations, in the transaction that changed them."""

from collections.abc import Iterable
from datetime import datetime

from compliance.metrology.bracketing import CheckFinding, Mark, MarkKind, cut, weigh
from compliance.metrology.bracketing import TimelineSpan as Cut
from compliance.metrology.vocabulary import CheckKind, Stage, Verdict
from compliance.plans.demands import Checked, Happened, is_withdrawn, outstanding, place
from compliance.plans.queries import PlanBook
from compliance.probes.models import ALTERATIONS, Event, Probe
from shared import clock

from .early import write_down_done
from .fallen import write_down
from .falling_due import ASKED, BY_PLAN, ask, plan_ahead
from .lifting import follow_up
from .models import BEGINNING, END, Check, ProbeState, Span
from .stays import stays_of_one

CHECKED = (
    "checked_at", "verdict", "stage", "pk", "kind", "reference_milli", "budget__conformity__conditional", "typing__showed",
    "typing__unfinished",
)  # fmt: skip
# What a span's row says; two rows that agree in these and in their end are the same span.
TOLD = ("starts_at", "standing", "cause", "behind_id", "ahead_id", "doubt_id", "anchor")


def lock(probe: Probe) -> Probe:
    """The probe as it is now, held until the transaction ends: two people's checks are taken one after the other."""
    return Probe.objects.select_for_update(no_key=True).get(pk=probe.pk)


def recut(probe: Probe, struck: datetime | None = None) -> None:
    """Cut the probe's timeline again and keep what follows from it. Only rows that differ are written.

    `struck`: the moment of a check or an event that counts no longer. What has fallen due by what was known until now is
    written down first, so that it does not depend on when a sweep runs.
    Call it inside the transaction of the change, after `lock`. The number of queries does not depend on how much there is.
    """
    checks = [Checked(*row) for row in Check.objects.filter(probe=probe, void__isnull=True).values_list(*CHECKED)]
    events = [Happened(e.at, e.kind, e.pk) for e in Event.objects.filter(probe=probe, void__isnull=True)]
    spans = cut(marks_of(checks, events))
    _store(probe, [_row(probe, span) for span in spans])
    _keep_state(probe, checks, events, spans[-1], struck)


def marks_of(checks: Iterable[Checked], events: Iterable[Happened]) -> list[Mark]:
    altered = [e for e in events if e.kind in ALTERATIONS]
    return [
        *weigh(_finding(check) for check in checks),
        *(Mark(at=e.at, kind=MarkKind.ALTERATION, key=f"event:{e.order}", order=e.order) for e in altered),
    ]


def _finding(check: Checked) -> CheckFinding:
    return CheckFinding(
        at=check.at, kind=CheckKind(check.kind), reference=check.reference_milli / 1000, stage=Stage(check.stage),
        verdict=Verdict(check.verdict), key=f"check:{check.order}", order=check.order,
    )  # fmt: skip


def _row(probe: Probe, span: Cut) -> Span:
    return Span(
        probe=probe,
        starts_at=span.start or BEGINNING,
        ends_at=span.end or END,
        standing=span.standing.value,
        cause=span.cause.value if span.cause else "",
        behind_id=_check_id(span.behind),
        ahead_id=_check_id(span.ahead),
        doubt_id=_check_id(span.doubt),
        anchor=span.anchor or "",
    )


def _check_id(key: str | None) -> int | None:
    kind, _, number = (key or "").partition(":")
    return int(number) if kind == "check" else None


def _store(probe: Probe, wanted: list[Span]) -> None:
    stored = {span.ends_at: span for span in Span.objects.filter(probe=probe)}
    ends = {span.ends_at for span in wanted}
    Span.objects.filter(pk__in=[span.pk for end, span in stored.items() if end not in ends]).delete()
    changed = [span for span in wanted if not _same(span, stored.get(span.ends_at))]
    Span.objects.bulk_create(
        changed, update_conflicts=True, unique_fields=["probe", "ends_at"],
        update_fields=["starts_at", "standing", "cause", "behind", "ahead", "doubt", "anchor"],
    )  # fmt: skip


def _same(span: Span, stored: Span | None) -> bool:
    return stored is not None and all(getattr(span, name) == getattr(stored, name) for name in TOLD)


def _keep_state(probe: Probe, checks: list[Checked], events: list[Happened], now: Cut, struck: datetime | None) -> None:
    good = [c for c in checks if c.verdict == Verdict.IN_TOLERANCE and c.at_zero]
    last, last_good = (max(found, key=place, default=None) for found in (checks, good))
    state = ProbeState(
        probe=probe,
        standing=now.standing.value,
        last_check_id=last.order if last else None,
        last_good_check_id=last_good.order if last_good else None,
        last_good_at=last_good.at if last_good else None,
    )
    placed, at = Probe.objects.select_related("site__area", "state").get(pk=probe.pk), clock.now()
    _keep_withdrawn(placed, is_withdrawn(events))
    before = _write_down_before(placed, at)
    came, stays = stays_of_one(probe)
    found = outstanding(checks, events, came or BEGINNING)
    ask(state, found)
    plan_ahead([state], {probe.pk: placed}, PlanBook.of_probes([placed]), {probe.pk: stays} if stays else {})
    told = ["standing", "last_check", "last_good_check", "last_good_at", *ASKED, *BY_PLAN]
    ProbeState.objects.bulk_create([state], update_conflicts=True, unique_fields=["probe"], update_fields=told)
    probe.state, probe.withdrawn = state, placed.withdrawn
    write_down_done(placed, before, state, checks, at)
    follow_up(placed, before, state, found.reasons, stays, checks, events, at, struck)


def _keep_withdrawn(probe: Probe, withdrawn: bool) -> None:
    if probe.withdrawn != withdrawn:
        probe.withdrawn = withdrawn
        Probe.objects.filter(pk=probe.pk).update(withdrawn=withdrawn)


def _write_down_before(probe: Probe, now: datetime) -> ProbeState | None:
    """Before the state of the probe is kept anew; gives the one until now."""
    before = getattr(probe, "state", None)
    if before and before.due_at and before.due_at <= now:
        write_down(now, probe_id=probe.pk)
    return before
