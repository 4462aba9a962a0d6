"""Whether a probe may be used at a moment: a rule on plain values, and the query that fetches them for many probes.

Source: own judgement on the safe side, after 9 CFR 417.3(b) and ISO/IEC 17025:2017, 7.10 (from memory): nothing is
released on an instrument that failed, or that nobody has checked since something happened to it.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from typing import NamedTuple

from django.db import models
from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery

from compliance.metrology.bracketing import Cause, cut
from compliance.metrology.vocabulary import CheckKind
from compliance.plans.demands import Checked, Happened, is_withdrawn, moment, outstanding
from compliance.plans.obligations import ProbeFacts
from compliance.probes.models import OUT_OF_USE, Event, Placement, Probe
from shared import clock
from shared.prepared import Prepared, keys
from shared.time_text import recent_moment

from .kinds import KINDS
from .models import BEGINNING, END, CheckDraft, Span, Standing
from .probe_facts import fold, probe_facts
from .timeline import marks_of


class Fitness(models.TextChoices):
    OK = "ok", "OK to use"
    CHECK_FIRST = "check_first", "Check first"
    DO_NOT_USE = "do_not_use", "Do not use"


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What speaks for and against a probe at one moment; nothing later is in it."""

    withdrawn: bool = False
    failed: str = ""  # which check failed, with no good one of its kind since
    failed_at: datetime | None = None
    altered: bool = False  # adjusted or repaired and not checked since
    outside_since: datetime | None = None  # an unfinished check shows a number beyond the tolerance
    vouched: bool = False  # a good check at zero lies behind
    asked: str = ""  # why a check is asked for at once
    overdue_since: datetime | None = None


@dataclass(frozen=True, slots=True)
class Judgement:
    """Whether a probe may be used, why not, and since when where that tells something.

    `vouched`: a good check lies behind, and no failure, adjustment or repair since.
    """

    state: Fitness
    because: str = ""
    at: datetime | None = None
    vouched: bool = field(default=False, compare=False)

    @property
    def ok(self) -> bool:
        return self.state == Fitness.OK

    @property
    def refused(self) -> bool:
        return self.state == Fitness.DO_NOT_USE

    def why(self, zone: tzinfo, now: datetime) -> str:
        """The reason with its time on the clock of a site, such as “failed at zero today 12:45”; empty while it is OK."""
        return f"{self.because} {recent_moment(self.at, zone, now)}" if self.at else self.because

    def words(self, zone: tzinfo, now: datetime) -> str:
        """The state with its reason, such as “Do not use: failed at zero today 12:45”."""
        why = self.why(zone, now)
        return f"{self.state.label}: {why}" if why else str(self.state.label)


WITHDRAWN = "withdrawn from use"
ALTERED = "adjusted, repaired or gone, and not checked since"
OUTSIDE = "an unfinished check shows a number beyond the tolerance, since"
NEVER, UNPROVEN = "never checked", "no good check yet"
OVERDUE = "check overdue since"


def judge(known: Known) -> Judgement:
    """The rule. What forbids the use goes before what asks for a check first."""
    if known.withdrawn:
        return Judgement(Fitness.DO_NOT_USE, WITHDRAWN)
    if known.failed:
        return Judgement(Fitness.DO_NOT_USE, known.failed, known.failed_at)
    if known.altered:
        return Judgement(Fitness.DO_NOT_USE, ALTERED)
    if known.outside_since:
        return Judgement(Fitness.DO_NOT_USE, OUTSIDE, known.outside_since)
    if known.asked or not known.vouched:
        return Judgement(Fitness.CHECK_FIRST, known.asked or UNPROVEN, vouched=known.vouched)
    if known.overdue_since:
        return Judgement(Fitness.CHECK_FIRST, OVERDUE, known.overdue_since, vouched=True)
    return Judgement(Fitness.OK, vouched=True)


def fitness_of(probe_ids: Iterable[int], at: datetime) -> dict[int, Judgement]:
    """Each probe at a moment, by its key, from all that is known now of the time up to it.

    One query for any number of probes, another where one may not be used, and ten where something happened to one after
    that moment.
    """
    rows = [_Kept(*row) for row in _KEPT.rows(probe_ids)]
    later = [row for row in rows if row.changed_at > at]
    failures = _failures([row.pk for row in rows if row.standing == Standing.QUARANTINED])
    histories = _histories([row.pk for row in later], at) if later else {}
    outside = {row.pk: row.outside_since for row in rows if row.outside_since and row.outside_since <= at}
    known = {row.pk: histories.get(row.pk) or _by_state(row, at, failures.get(row.pk, {})) for row in rows}
    return {pk: judge(Known(**facts, outside_since=outside.get(pk))) for pk, facts in known.items()}


def may_be(fitness: str, at: datetime) -> Q:
    """Probes among which are all that are so at a moment, to be judged then: what is kept says it of the rest, of which nothing
    lies after that moment."""
    happened = Event.objects.live().filter(probe=OuterRef("pk"), at__gt=at)
    moved = Placement.objects.filter(probe=OuterRef("pk"), starts_at__gt=at)
    later = Q(state__last_check__checked_at__gt=at) | Exists(happened) | Exists(moved)
    if fitness == Fitness.DO_NOT_USE:
        outside = CheckDraft.objects.filter(probe=OuterRef("pk"), outside_since__isnull=False)
        return later | Q(withdrawn=True) | Q(state__standing=Standing.QUARANTINED) | Exists(outside)
    if fitness == Fitness.OK:
        in_time = Q(state__grace_at__isnull=True) | Q(state__grace_at__gt=at)
        vouched = Q(state__standing__in=(Standing.PROVEN, Standing.PENDING))
        return later | Q(withdrawn=False, state__at_once_because="") & vouched & in_time
    return Q()


def known_then(
    checks: Iterable[Checked], events: Iterable[Happened], at: datetime, asked_for: Iterable[tuple] = ()
) -> dict:
    """What live checks and events up to a moment say of a probe then.

    `asked_for`: (opens_at, due_at) of the checks at zero whose grace was over by then, and that were still asked for.
    """
    checks = [check for check in checks if check.at <= at]
    events = [event for event in events if event.at <= at]
    present = cut(marks_of(checks, events))[-1]
    # A return to use asks for a check by itself; without the withdrawal before it no reason is moved to its time.
    found = outstanding(checks, [event for event in events if event.kind not in OUT_OF_USE], BEGINNING)
    by_key = {f"check:{check.order}": check for check in checks}
    behind, doubt = by_key.get(present.behind or ""), by_key.get(present.doubt or "")
    failed = _failed(present.cause, _told_of(behind), _told_of(doubt)) if present.cause else {}
    waiting = [due_at for opens_at, due_at in asked_for if found.last and opens_at >= moment(found.last)]
    return {
        "withdrawn": is_withdrawn(events),
        "vouched": present.standing != Standing.UNPROVEN,
        "asked": found.at_once.because if found.at_once else "",
        "overdue_since": min(waiting, default=None),
        **failed,
    }


class _Kept(NamedTuple):
    """What is kept of a probe; `standing` is None while it has no timeline."""

    pk: int
    withdrawn: bool
    standing: str | None
    at_once_because: str | None
    due_at: datetime | None
    grace_at: datetime | None
    checked_at: datetime | None
    happened_at: datetime | None
    placed_at: datetime | None
    outside_since: datetime | None

    @property
    def changed_at(self) -> datetime:
        return max(filter(None, (self.checked_at, self.happened_at, self.placed_at)), default=BEGINNING)


def _kept() -> QuerySet:
    live = Event.objects.live().filter(probe=OuterRef("pk")).order_by("-at")
    placed = Placement.objects.filter(probe=OuterRef("pk")).order_by("-starts_at")
    outside = CheckDraft.objects.filter(probe=OuterRef("pk"), outside_since__isnull=False).order_by("outside_since")
    of_state = (f"state__{name}" for name in ("standing", "at_once_because", "due_at", "grace_at"))
    return (
        Probe.objects.filter(pk__in=keys())
        .order_by()
        .values_list(
            "pk",
            "withdrawn",
            *of_state,
            "state__last_check__checked_at",
            Subquery(live.values("at")[:1]),
            Subquery(placed.values("starts_at")[:1]),
            Subquery(outside.values("outside_since")[:1]),
        )
    )


_KEPT = Prepared(_kept)


def _by_state(row: _Kept, at: datetime, failed: dict) -> dict:
    """What is kept of a probe, which is right from the last that happened to it until now."""
    if row.standing is None:
        return {"withdrawn": row.withdrawn, "asked": NEVER}
    overdue = row.grace_at is not None and row.grace_at <= at
    return {
        "withdrawn": row.withdrawn,
        "vouched": row.standing != Standing.UNPROVEN,
        "asked": row.at_once_because,
        "overdue_since": row.due_at if overdue else None,
        **failed,
    }


def _failures(probe_ids: list[int]) -> dict[int, dict]:
    """What put each of these probes in quarantine, from the last span of its timeline. No query without one."""
    if not probe_ids:
        return {}
    sides = [f"{side}__{name}" for side in ("behind", "doubt") for name in ("checked_at", "kind", "reference_milli")]
    spans = Span.objects.filter(probe__in=probe_ids, ends_at=END).order_by()
    return {
        pk: _failed(cause, told[:3], told[3:]) for pk, cause, *told in spans.values_list("probe_id", "cause", *sides)
    }


def _told_of(check: Checked | None) -> tuple:
    return (check.at, check.kind, check.reference_milli) if check else (None, None, None)


def _failed(cause: str, behind: Sequence, doubt: Sequence) -> dict:
    """A failed check away from zero counts where none at zero failed, whatever was adjusted since."""
    if cause == Cause.USED_AFTER_FAILURE:
        return {"failed": "failed at zero", "failed_at": behind[0]}
    doubt_at, doubt_kind, _ = doubt
    if doubt_at:
        return {"failed": KINDS[doubt_kind].failed, "failed_at": doubt_at}
    return {"altered": True}


def _histories(probe_ids: list[int], at: datetime) -> dict[int, dict]:
    """What was to be said of each of these probes at a moment, from all that is known now of the time up to it."""
    facts = probe_facts(Probe.objects.filter(pk__in=probe_ids))
    return {pk: known_then(known.checks, known.events, at, _late(known, at)) for pk, known in facts.items()}


def _late(facts: ProbeFacts, at: datetime) -> Iterator[tuple[datetime, datetime]]:
    for row in fold(facts, max(at, clock.now())).rows:
        if row.point == CheckKind.ZERO and row.grace_at <= at and not (row.cancelled_at and row.cancelled_at <= at):
            yield row.opens_at, row.due_at
