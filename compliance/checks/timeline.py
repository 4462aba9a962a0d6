"""A probe's timeline as rows: cut again from its live checks and alterations, in the transaction that changed them."""

from collections.abc import Iterable, Sequence

from django.db import connection
from django.db.transaction import TransactionManagementError

from compliance.metrology.bracketing import CheckFinding, Mark, MarkKind, cut, weigh
from compliance.metrology.bracketing import TimelineSpan as Cut
from compliance.metrology.vocabulary import CheckKind, Stage, Verdict
from compliance.plans.demands import Checked, Happened, is_withdrawn, place
from compliance.plans.models import Reminder
from compliance.plans.obligations import Folded
from compliance.plans.store import tell_again
from compliance.plans.wording import day_words
from compliance.probes.models import ALTERATIONS, EventKind, Placement, Probe
from shared import clock
from shared.append_only import Fact, Void
from shared.prepared import Prepared, Slot

from .check_rows import NEXT, derive, said_of_next
from .models import BEGINNING, END, Check, CheckVoid, ProbeState, Span
from .probe_facts import CHECKED, probe_facts

__all__ = ["CHECKED", "lock", "marks_of", "recut"]
# What a span's row says; two rows that agree in these and in their end are the same span.
TOLD = ("starts_at", "standing", "cause", "behind_id", "ahead_id", "doubt_id", "anchor")


def lock(probe: Probe) -> Probe:
    """The probe as it is now, held until the transaction ends: two people's checks are taken one after the other."""
    if connection.get_autocommit():
        raise TransactionManagementError("A probe is held until a transaction ends: begin one.")
    [held] = _HELD.objects(probe=probe.pk)
    return held


_HELD = Prepared(
    lambda: (
        Probe.objects.select_for_update(of=("self",), no_key=True)
        .select_related("business")
        .filter(pk=Slot("probe"))
        .order_by()
    )
)


def recut(probe: Probe, fact: Fact | None = None) -> None:
    """Cut the probe's timeline again and keep what follows from it, such as what it is to be checked for. Only rows that differ
    are written.

    `fact`: what was recorded of it just now. Call it inside the transaction of that, after `lock`. The number of queries does
    not depend on how much there is.
    """
    facts, now = probe_facts([probe]), clock.now()
    known = facts[probe.pk]
    spans = cut(marks_of(known.checks, known.events))
    _store(probe, spans)
    _keep_withdrawn(probe, is_withdrawn(known.events))
    told = derive(facts, now, _words(fact))[probe.pk]
    state = _state(probe, known.checks, spans[-1], told)
    kept = ["standing", "last_check", "last_good_check", "last_good_at", *NEXT]
    ProbeState.objects.bulk_create([state], update_conflicts=True, unique_fields=["probe"], update_fields=kept)
    probe.state = state
    if isinstance(fact, Void):
        tell_again(Reminder.objects.filter(probe=probe), now)


def marks_of(checks: Iterable[Checked], events: Iterable[Happened]) -> list[Mark]:
    altered = [e for e in events if e.kind in ALTERATIONS]
    return [
        *weigh(_finding(check) for check in checks),
        *(_alteration(event) for event in altered),
    ]


def _alteration(event: Happened) -> Mark:
    gone = event.kind == EventKind.GONE
    return Mark(at=event.at, kind=MarkKind.ALTERATION, key=f"event:{event.order}", order=event.order, gone=gone)


def _finding(check: Checked) -> CheckFinding:
    return CheckFinding(
        at=check.at,
        kind=CheckKind(check.kind),
        reference=check.reference_milli / 1000,
        stage=Stage(check.stage),
        verdict=Verdict(check.verdict),
        key=f"check:{check.order}",
        order=check.order,
    )


def _told(span: Cut) -> tuple:
    """What its row says, as `TOLD` names it."""
    return (
        span.start or BEGINNING,
        span.standing.value,
        span.cause.value if span.cause else "",
        _check_id(span.behind),
        _check_id(span.ahead),
        _check_id(span.doubt),
        span.anchor or "",
    )


def _check_id(key: str | None) -> int | None:
    kind, _, number = (key or "").partition(":")
    return int(number) if kind == "check" else None


def _store(probe: Probe, spans: Sequence[Cut]) -> None:
    wanted = {span.end or END: _told(span) for span in spans}
    stored = {end: (pk, tuple(told)) for pk, end, *told in _STORED.rows(probe=probe.pk)}
    if gone := [pk for end, (pk, _) in stored.items() if end not in wanted]:
        Span.objects.filter(pk__in=gone).delete()
    changed = [
        Span(probe=probe, ends_at=end, **dict(zip(TOLD, told, strict=True)))
        for end, told in wanted.items()
        if end not in stored or stored[end][1] != told
    ]
    Span.objects.bulk_create(changed, update_conflicts=True, unique_fields=["probe", "ends_at"], update_fields=TOLD)


_STORED = Prepared(lambda: Span.objects.filter(probe=Slot("probe")).order_by().values_list("pk", "ends_at", *TOLD))


def _state(probe: Probe, checks: Sequence[Checked], now: Cut, told: Folded) -> ProbeState:
    good = [c for c in checks if c.verdict == Verdict.IN_TOLERANCE and c.at_zero]
    last, last_good = (max(found, key=place, default=None) for found in (checks, good))
    return ProbeState(
        probe=probe,
        standing=now.standing.value,
        last_check_id=last.order if last else None,
        last_good_check_id=last_good.order if last_good else None,
        last_good_at=last_good.at if last_good else None,
        **said_of_next(told),
    )


def _keep_withdrawn(probe: Probe, withdrawn: bool) -> None:
    if probe.withdrawn != withdrawn:
        probe.withdrawn = withdrawn
        Probe.objects.filter(pk=probe.pk).update(withdrawn=withdrawn)


def _words(fact: Fact | None) -> str:
    """What a fact says, and who entered it: why something turns out not to be owed."""
    if fact is None:
        return "plans, days of work or settings were changed"
    if isinstance(fact, Void):
        what = "check" if isinstance(fact, CheckVoid) else "event"
        return f"the {what} of {_day_of(fact.voids)} was struck out by {fact.recorded_by}: {fact.reason}"
    if isinstance(fact, Placement):
        return f"it came to {fact.site} on {_day_of(fact)}, entered by {fact.recorded_by}"
    what = "checked" if isinstance(fact, Check) else fact.get_kind_display()
    return f"{what} on {_day_of(fact)}, entered by {fact.recorded_by}"


def _day_of(fact: Fact) -> str:
    at = next(getattr(fact, name) for name in ("checked_at", "at", "starts_at") if hasattr(fact, name))
    return day_words(at.astimezone((fact.site if hasattr(fact, "site") else fact.probe.site).zone).date())
