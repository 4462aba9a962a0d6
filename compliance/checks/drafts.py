"""A check in progress, stored at each tap. Every tap can arrive twice, late, or after the page was left; none does harm."""

from collections.abc import Collection, Iterable
from dataclasses import replace
from datetime import datetime, timedelta
from enum import StrEnum
from uuid import uuid4

from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.db.models import Q, QuerySet, UUIDField
from django.db.transaction import TransactionManagementError

from compliance.metrology.air_pressure import PressureLevel
from compliance.metrology.bath import Preparation
from compliance.metrology.boiling import BoilingPreparation
from compliance.metrology.settling import LONGEST_SERIES, SettlingState
from compliance.probes.models import ALTERATIONS, Event, Probe
from shared import clock
from shared.prepared import Prepared, Slot
from shared.units import read as read_number
from sites.models import Person

from . import actions, draft_numbers
from .evaluation import settling_of
from .kinds import GUIDANCE, USUAL, CheckData, Guidance, kind_of
from .kinds.steps import Task
from .models import Check, CheckDraft, Stage, Verdict
from .timeline import lock

ABANDONED_AFTER = timedelta(hours=1)
GONE = "This check was finished or given up meanwhile."
LONGEST = timedelta(hours=2)
NUMBERS = ("readings", "struck", "unit", "outside_since")
STALE_AFTER = timedelta(minutes=30)  # common practice, no source: by then melt-water has gathered


def find(person: Person, probe: Probe, kind: str = USUAL.value) -> CheckDraft | None:
    return CheckDraft.objects.filter(person=person, probe=probe, kind=kind).first()


def of(probe: Probe) -> list[CheckDraft]:
    """What anybody has begun with this probe, of any kind."""
    return list(CheckDraft.objects.filter(probe=probe).order_by("pk"))


def guidance_of(draft: CheckDraft) -> Guidance:
    return GUIDANCE[draft.kind]


def way_of(draft: CheckDraft) -> StrEnum:
    """How the reference of this check is made."""
    return guidance_of(draft).way(draft.preparation.get("kind"))


def begin(
    person: Person, probe: Probe, way: StrEnum, stage: Stage, now: datetime, kind: str = USUAL.value
) -> CheckDraft:
    """A new draft, or the one that is already there."""
    given = {
        "key": uuid4(),
        "started_at": now,
        "stage": stage,
        "preparation": {"kind": way.value, "points": [], "left": []},
    }
    return CheckDraft.objects.get_or_create(person=person, probe=probe, kind=kind, defaults=given)[0]


def likely_stage(probe: Probe) -> Stage:
    """As left, where the probe was adjusted or repaired and nothing conclusive came after; else as found."""
    live = Event.objects.live().filter(probe=probe, kind__in=ALTERATIONS)
    altered = live.order_by("-at").values_list("at", flat=True).first()
    if altered is None:
        return Stage.AS_FOUND
    since = Check.objects.live().filter(probe=probe, checked_at__gte=altered)
    return Stage.AS_FOUND if since.exclude(verdict=Verdict.INCONCLUSIVE).exists() else Stage.AS_LEFT


@transaction.atomic
def mark(draft: CheckDraft, points: Collection[StrEnum], state: str, now: datetime) -> CheckDraft:
    """Note points of the preparation as `done`, `left` (not done) or `open` (taken back).

    What holds for the bath holds for every probe that is still to go into it; for one that is in, it stays as it was then.
    """
    held, *fellows = _hold_with_fellows(draft)
    shared = [] if held.inserted_at else [point for point in points if point in guidance_of(held).bath]
    _mark(held, points, state, now)
    for each in fellows if shared else ():
        _mark(each, shared, state, now)
    return held


def _mark(draft: CheckDraft, points: Collection[StrEnum], state: str, now: datetime) -> None:
    for point in points:
        for name in ("points", "left"):
            draft.preparation[name] = [p for p in draft.preparation.get(name, []) if p != point]
        if state in ("done", "left"):
            draft.preparation["points" if state == "done" else "left"].append(point.value)
        if state == "done" and _dates(draft, point):
            draft.bath_at = now
    draft.save(update_fields=["preparation", "bath_at"])


def _dates(draft: CheckDraft, point: StrEnum) -> bool:
    """Whether the bath is as old as this step, which was just done; it gets no younger by an earlier one that is ticked late."""
    again, done = step_again(draft), draft.preparation["points"]
    later = again is not None and again.point != point and again.point in done
    return point in guidance_of(draft).dated.get(way_of(draft), ()) and not later


@transaction.atomic
def tell(draft: CheckDraft, **about) -> CheckDraft:
    """Keep what was said beside the readings: `stage`, `note`, `immersion_mm`, `surroundings`."""
    draft = hold(draft)
    for name, value in about.items():
        setattr(draft, name, value)
    draft_numbers.keep_outside(draft)
    draft.save(update_fields=[*about, "outside_since"])
    return draft


@transaction.atomic
def say_level(draft: CheckDraft, level: PressureLevel | None) -> CheckDraft:
    """Keep whether the air's pressure is of this place or at sea level; None asks again."""
    draft = hold(draft)
    draft.surroundings.pop("level", None)
    if level and "source" in draft.surroundings:
        draft.surroundings["level"] = level.value
    draft_numbers.keep_outside(draft)
    draft.save(update_fields=["surroundings", "outside_since"])
    return draft


@transaction.atomic
def insert(draft: CheckDraft, now: datetime, done: Collection[StrEnum] = ()) -> CheckDraft:
    """The probe goes in, with what is `done` by then: timing starts, once. Raises ValidationError where the bath is too old."""
    draft = hold(draft)
    if is_stale(draft, now):
        raise ValidationError(f"{step_again(draft).how} Then confirm it.")
    if draft.inserted_at is None:
        if done:
            draft = mark(draft, done, "done", now)
        draft.inserted_at = now
        draft.save(update_fields=["inserted_at"])
    return draft


@transaction.atomic
def take_out(draft: CheckDraft) -> CheckDraft:
    """Start the timing again: the bath stays as it was made, or as it was made anew meanwhile; no reading counts any more."""
    draft, *fellows = _hold_with_fellows(draft)
    draft_numbers.strike(draft, draft_numbers.TIMED_AGAIN)
    draft.inserted_at = None
    for name in ("points", "left"):
        draft.preparation[name] = [p for p in draft.preparation.get(name, []) if p != guidance_of(draft).moved]
    newest = max((each for each in fellows if each.bath_at), key=lambda each: each.bath_at, default=None)
    if newest and (draft.bath_at is None or newest.bath_at > draft.bath_at):
        share_bath(draft, newest)
    draft.save(update_fields=["inserted_at", *NUMBERS, "preparation", "bath_at"])
    return draft


def share_bath(draft: CheckDraft, other: CheckDraft) -> None:
    """Take over, unsaved, how the bath of `other` was made; what was said of the probe itself stays."""
    bath = guidance_of(draft).bath
    for name in ("points", "left"):
        own = [point for point in draft.preparation.get(name, []) if point not in bath]
        draft.preparation[name] = [p for p in other.preparation.get(name, []) if p in bath] + own
    draft.bath_at = other.bath_at


def is_stale(draft: CheckDraft, now: datetime) -> bool:
    """Whether the bath was made so long ago that it is to be drained again before the probe goes in."""
    again = step_again(draft)
    if again is None or draft.bath_at is None or draft.inserted_at is not None:
        return False
    return again.point in draft.preparation.get("points", []) and now - draft.bath_at > STALE_AFTER


def step_again(draft: CheckDraft) -> Task | None:
    """The step that makes an old bath good, where its kind has one."""
    return guidance_of(draft).again.get(way_of(draft))


@transaction.atomic
def read(draft: CheckDraft, text: str, seen: int, now: datetime) -> CheckDraft:
    """Add a timed reading. `seen` is how many the page showed: the same tap arriving twice counts once.

    Raises ValidationError saying what to type, or that the check has taken too long.
    """
    draft = hold(draft)
    if draft.inserted_at is None:
        raise ValidationError("Tap “The probe is in” first, so that the time runs from there.")
    text = _temperature(text, draft_numbers.unit_of(draft))
    if 0 <= seen < len(draft.readings) and draft.readings[seen][1] == text:
        return draft
    elapsed = now - draft.inserted_at
    if elapsed > LONGEST or len(draft.readings) >= LONGEST_SERIES:
        raise ValidationError("This check has gone on too long to time it. Finish it, or start the timing again.")
    draft_numbers.add(draft, round(elapsed.total_seconds() * 1000), text)
    return _keep_numbers(draft)


@transaction.atomic
def say_unit(draft: CheckDraft, unit: str | None) -> CheckDraft:
    """Keep which unit the display shows; None asks again. Raises ValidationError for what no display shows in that unit."""
    draft = hold(draft)
    if unit is None:
        draft_numbers.ask_unit_again(draft)
    else:
        draft_numbers.say_unit(draft, unit)
    return _keep_numbers(draft)


@transaction.atomic
def take_back(draft: CheckDraft, elapsed_ms: int) -> CheckDraft:
    """Have the reading of this moment count no more; a second tap finds none and takes no other."""
    draft = hold(draft)
    draft_numbers.strike(draft, draft_numbers.TAKEN_BACK, elapsed_ms)
    return _keep_numbers(draft)


def _keep_numbers(draft: CheckDraft) -> CheckDraft:
    settling_of(draft.probe, draft_numbers.typed(draft))
    draft.save(update_fields=NUMBERS)
    return draft


@transaction.atomic
def confirm(draft: CheckDraft, points: Iterable[StrEnum]) -> CheckDraft:
    """Note what the button that finishes says of the probe in its bath. Raises ValidationError for what is not said there."""
    draft, said = hold(draft), frozenset(points)
    if draft.inserted_at is None or not said.issubset(task.point for task in guidance_of(draft).inside[way_of(draft)]):
        raise ValidationError("Confirm each step of the bath where it is listed.")
    _mark(draft, sorted(said), "done", draft.inserted_at)
    return draft


@transaction.atomic
def finish(draft: CheckDraft, by: Person, no_figure: str = "") -> Check:
    """Record the check; as failed at this moment where the display shows no figure, in the bath or before.

    Raises ValidationError while there is nothing to record, or the unit is not known. The probe is held before its draft, as
    by whatever else records a check: no number is typed between the two.
    """
    lock(draft.probe)
    draft = hold(draft)
    if no_figure:
        data = replace(data_of(draft, clock.now()), no_figure=no_figure)
        return actions.record(by=by, probe=draft.probe, data=data)
    if draft.inserted_at is None or not draft.readings:
        raise ValidationError("Type at least one reading of the display before you finish.")
    if asked := draft_numbers.unit_question(draft):
        raise ValidationError(
            f"Say first which unit the display shows: {draft_numbers.shown(asked)} may be in the other one."
        )
    checked_at = draft.inserted_at + timedelta(milliseconds=draft.readings[-1][0])
    return actions.record(by=by, probe=draft.probe, data=data_of(draft, checked_at))


def data_of(draft: CheckDraft, checked_at: datetime, **typing) -> CheckData:
    """What the record of a check needs, but for who; `typing` is what else is to be kept of the numbers."""
    kind = kind_of(draft)
    return kind.data(
        key=draft.key,
        site=draft.probe.site,
        stage=draft.stage,
        checked_at=checked_at,
        note=draft.note,
        readings=[tuple(reading[:3]) for reading in draft.readings],
        immersion_mm=draft.immersion_mm,
        preparation=preparation_of(draft),
        typing=draft_numbers.kept(draft) | typing,
        **kind.said_in(draft),
    )


def preparation_of(draft: CheckDraft) -> Preparation | BoilingPreparation:
    """What was confirmed of it, and what somebody said was not done; whether it settled and fell its readings show."""
    guidance, way = guidance_of(draft), way_of(draft)
    points, left = (
        {guidance.point(point) for point in draft.preparation.get(name, [])} & set(guidance.wanted[way])
        for name in ("points", "left")
    )
    if guidance.waited:
        settled = settling_of(draft.probe, draft_numbers.typed(draft)).state is SettlingState.SETTLED
        (points if settled else left).add(guidance.waited)
    if guidance.moved and draft_numbers.moved(draft) is draft_numbers.Moved.SHOWN:
        points.add(guidance.moved)
    return guidance.preparation(kind=way, points=frozenset(points), left=frozenset(left - points))


def touched_at(draft: CheckDraft) -> datetime:
    """When somebody last worked on it."""
    if draft.inserted_at is None:
        return max(draft.started_at, draft.bath_at or draft.started_at)
    return draft.inserted_at + timedelta(milliseconds=draft.readings[-1][0] if draft.readings else 0)


def is_abandoned(draft: CheckDraft, now: datetime) -> bool:
    return now - touched_at(draft) >= ABANDONED_AFTER


def hold(draft: CheckDraft) -> CheckDraft:
    """The draft as it is now, until the transaction ends. Raises ValidationError where it is gone."""
    if found := _hold(_HELD, draft=draft.pk):
        return found[0]
    raise ValidationError(GONE)


def _hold(drafts: Prepared, **values) -> list[CheckDraft]:
    """Django refuses to lock outside a transaction only where it puts the statement together."""
    if connection.get_autocommit():
        raise TransactionManagementError("A check in progress is held until a transaction ends: begin one.")
    return drafts.objects(**values)


def _as_it_is(drafts: Q) -> QuerySet[CheckDraft]:
    related = CheckDraft.objects.select_related("probe__site__area__business")
    return related.filter(drafts).order_by("pk").select_for_update(of=("self",))


_HELD = Prepared(lambda: _as_it_is(Q(pk=Slot("draft"))))
_WITH_FELLOWS = Prepared(
    lambda: _as_it_is(
        Q(together=Slot("together", UUIDField()), person=Slot("person"), inserted_at__isnull=True) | Q(pk=Slot("draft"))
    )
)


def _hold_with_fellows(draft: CheckDraft) -> list[CheckDraft]:
    """This draft first, then the others of its bath, made in the same way, whose probes are not in yet.

    Locked in one order, so that taps on two of them wait for each other rather than lock each other out.
    """
    if draft.together is None:
        return [hold(draft)]
    found = _hold(_WITH_FELLOWS, together=draft.together, person=draft.person_id, draft=draft.pk)
    held = {each.pk: each for each in found}
    mine = held.pop(draft.pk, None)
    if mine is None:
        raise ValidationError(GONE)
    return [mine, *(each for each in held.values() if way_of(each) == way_of(mine) and each.kind == mine.kind)]


def _temperature(text: str, unit: str) -> str:
    try:
        read_number(text, unit)
    except ValueError as error:
        raise ValidationError(str(error)) from None
    return text.strip()
