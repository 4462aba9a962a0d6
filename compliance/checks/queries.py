"""What the checks say of readings and of probes: reads that pages and the floors above share."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db.models import DateTimeField, Q, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from compliance.metrology.assessment import Bracket
from compliance.metrology.conformity import Zone
from compliance.metrology.error_bounds import ErrorAt
from compliance.metrology.vocabulary import Sensor
from compliance.probes.models import ALTERATIONS, OUT_OF_USE, Event, Placement, Probe
from shared.key_lists import among
from shared.prepared import Prepared, Slot, keys
from sites.access import keys_of_sites
from sites.models import Person

from .kinds import AWAY_FROM_ZERO, kind_of
from .models import Check, ProbeState, Span, Standing, Verdict
from .span_times import reached_at
from .two_point_pairs import BELONGS_WITHIN, Moment, nearest

# How long after the act an entry still counts as made at the time.
EVENT_MADE_AT_THE_TIME = timedelta(hours=24)
# From how long after the act on, the time of entry stands beside it. Judgement; common practice, no source.
ENTERED_APART = timedelta(minutes=15)
SOON = timedelta(days=2)
SAME_SITTING = timedelta(hours=2)
FAR_ENOUGH_MILLI = 20_000  # nearer to each other two checks tell nothing of the line between them; judgement


def standing_subquery(at: str = "taken_at") -> Coalesce:
    """The standing of each row of a queryset that has `probe_id` and the time `at`: one index look-up a row."""
    return Coalesce(Subquery(reached_at(at).values("standing")[:1]), Value(Standing.UNPROVEN.value))


def bracket_of(span: Span) -> Bracket:
    """The errors on both sides of a span, for an assessment. Load its probe, `behind` and `ahead` with it."""
    return brackets_of([span])[0]


def brackets_of(spans: Iterable[Span]) -> list[Bracket]:
    """The same for many spans, with the boiling checks that belong to the checks around them: three queries at most."""
    spans = list(spans)
    beside = companions({check.pk: check for span in spans for check in (span.behind, span.ahead) if check}.values())
    failed = Check.objects.in_bulk({span.doubt_id for span in spans if span.doubt_id})
    return [_bracket(span, beside, failed.get(span.doubt_id)) for span in spans]


def _bracket(span: Span, beside: dict[int, Check], doubt: Check | None) -> Bracket:
    """A failed check away from zero speaks for its side in place of whatever good one may belong there.

    Where it gave no figure, nothing bounds that side.
    """
    start, end = _errors_at(span.behind, beside), _errors_at(span.ahead, beside)
    if doubt and start and doubt.checked_at <= span.starts_at:
        start = _with_doubt(start[0], doubt)
    elif doubt and end and doubt.checked_at > span.starts_at:
        end = _with_doubt(end[0], doubt)
    resolution = span.probe.particulars_at(span.ends_at).resolution_milli
    return Bracket(start=start, end=end, sensor=sensor_of(span), resolution=resolution)


def _with_doubt(point: ErrorAt, doubt: Check) -> tuple[ErrorAt, ...]:
    return () if doubt.error_milli is None else (point, _error_at(doubt))


def sensor_of(span: Span) -> Sensor:
    """The kind of sensor of its probe when it ended."""
    return Sensor(span.probe.particulars_at(span.ends_at).sensor)


def _errors_at(check: Check | None, beside: dict[int, Check]) -> tuple[ErrorAt, ...]:
    """What a check found, and the boiling check that tells of the same probe at another temperature.

    A probe that failed may have changed since an earlier boiling check: only one of the same sitting tells of it.
    """
    if check is None or check.error_milli is None:
        return ()
    other, found = beside.get(check.pk), [check]
    if other and abs(other.reference_milli - check.reference_milli) >= FAR_ENOUGH_MILLI:
        failed = check.verdict != Verdict.IN_TOLERANCE
        if not failed or abs(other.checked_at - check.checked_at) <= SAME_SITTING:
            found.append(other)
    return tuple(_error_at(each) for each in found)


def _error_at(check: Check) -> ErrorAt:
    return ErrorAt(
        at=check.checked_at, temperature=check.reference_milli, error=check.error_milli, expanded=check.expanded_milli
    )


_MEANWHILE = (Slot("first", DateTimeField()), Slot("last", DateTimeField()))
_GOOD = Prepared(
    lambda: Check.objects.live().filter(
        probe__in=keys(), kind__in=AWAY_FROM_ZERO, verdict=Verdict.IN_TOLERANCE, checked_at__range=_MEANWHILE
    )
)
_ALTERED = Prepared(
    lambda: (
        Event.objects.live()
        .filter(probe__in=keys(), kind__in=ALTERATIONS, at__range=_MEANWHILE)
        .values_list("probe", "at")
    )
)


def companions(checks: Iterable[Check]) -> dict[int, Check]:
    """The good boiling check that belongs to each of these checks, by the check's number; those without one are left out.

    It is the nearest within a week, before or after, with no adjustment or repair between (see `two_point_pairs`). Two queries
    for any number of checks.
    """
    checks = list(checks)
    if not checks:
        return {}
    probes = {check.probe_id for check in checks}
    first, last = min(c.checked_at for c in checks) - BELONGS_WITHIN, max(c.checked_at for c in checks) + BELONGS_WITHIN
    boiling = {check.pk: check for check in _GOOD.objects(probes, first=first, last=last)}
    if not boiling:
        return {}
    alterations = _ALTERED.rows(probes, first=first, last=last)
    found = {}
    for check in checks:
        others = [_moment(other) for other in boiling.values() if other.probe_id == check.probe_id]
        chosen = nearest(_moment(check), others, [at for probe, at in alterations if probe == check.probe_id])
        if chosen:
            found[check.pk] = boiling[chosen.key]
    return found


def _moment(check: Check) -> Moment:
    return Moment(check.checked_at, check.stage, check.pk)


def to_be_checked(probe: str = "") -> Q:
    """Probes in use, and those put aside that still wait for a check; `probe` leads to them, such as “probe__”."""
    return Q(**{f"{probe}withdrawn": False}) | Q(**{f"{probe}state__due_at__isnull": False})


def is_let_be(probe: Probe) -> bool:
    """Whether it is withdrawn and no check is asked for: nothing that it read waits for one."""
    state = getattr(probe, "state", None)
    return probe.withdrawn and (state is None or state.due_at is None)


def probes_now_at_sites_of(person: Person) -> QuerySet[Probe]:
    """The probes that are now at sites where this person has a role, with what the checks say of each."""
    found = Probe.objects.filter(site__in=among(keys_of_sites(person)))
    return found.select_related("site", "state").order_by("code", "pk")


def is_late(at: datetime, recorded_at: datetime, allowed: timedelta) -> bool:
    return recorded_at - at > allowed


def entered_late(check: Check) -> bool:
    """Whether a check reached the record well after it was made."""
    return is_late(check.checked_at, check.recorded_at, kind_of(check).made_at_the_time)


def event_entered_late(event: Event) -> bool:
    """One that takes a probe out of use ends what is owed, so it is late sooner."""
    allowed = ENTERED_APART if event.kind in OUT_OF_USE else EVENT_MADE_AT_THE_TIME
    return is_late(event.at, event.recorded_at, allowed)


def move_entered_late(placement: Placement) -> bool:
    """Without a reason it is no move: so a probe comes into the book."""
    return bool(placement.reason) and is_late(placement.starts_at, placement.recorded_at, ENTERED_APART)


def due_word(state: ProbeState | None, now: datetime) -> str:
    """`due`, `overdue` when its grace is over, `soon` or `ok`; a probe that no check has spoken of yet is due."""
    if state is None or state.due_at is None:
        return "due"
    if state.due_at > now:
        return "soon" if state.due_at < now + SOON else "ok"
    return "overdue" if (state.grace_at or state.due_at) <= now else "due"


def run_of(check: Check) -> str:
    """The anchor of the run in quarantine that a check borders on, such as check:12; empty if there is none."""
    beside = Span.objects.filter(Q(behind=check) | Q(ahead=check), probe=check.probe_id).exclude(anchor="")
    return beside.values_list("anchor", flat=True).first() or ""


def not_cleared(checks: Iterable[Check]) -> dict[int, Check]:
    """Of good checks that vouch for nothing, by number: the failed check away from zero that nobody had made good when each
    was made. One query for any number."""
    good = [check for check in checks if _clears(check)]
    if not good:
        return {}
    probes, times = {check.probe_id for check in good}, {check.checked_at for check in good}
    spans = Span.objects.filter(probe__in=probes, starts_at__in=times, doubt__isnull=False).select_related("doubt")
    return not_cleared_by(good, spans)


def not_cleared_by(checks: Iterable[Check], spans: Iterable[Span]) -> dict[int, Check]:
    """The same from spans that are loaded already, with the `doubt` of each."""
    checks = list(checks)
    doubts = {(span.probe_id, span.starts_at): span.doubt for span in spans if span.doubt_id}
    found = {check.pk: doubts.get((check.probe_id, check.checked_at)) for check in checks if _clears(check)}
    times = {check.pk: check.checked_at for check in checks}
    return {pk: failed for pk, failed in found.items() if failed and failed.pk != pk and failed.checked_at <= times[pk]}


def _clears(check: Check) -> bool:
    return check.verdict == Verdict.IN_TOLERANCE and kind_of(check).may_clear


def is_near_edge(check: Check) -> bool:
    """Whether it passed by less than its uncertainty, by whichever rule."""
    zone = check.budget.get("conformity", {}).get("zone")
    return check.verdict == Verdict.IN_TOLERANCE and zone == Zone.CONDITIONAL_PASS


def passed_near_edge(check: Check) -> bool:
    """Whether it passed under the condition that the probe is checked again soon."""
    return bool(check.budget.get("conformity", {}).get("conditional"))
