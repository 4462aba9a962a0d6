"""A check in progress, stored at each tap. Every tap can arrive twice, late, or after the page was left; none does harm."""

from datetime import datetime, timedelta
from enum import StrEnum
from uuid import UUID, uuid4

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q

from compliance.metrology.bath import Preparation
from compliance.metrology.boiling import BoilingPreparation
from compliance.metrology.settling import LONGEST_SERIES, SettlingState
from compliance.probes.models import ALTERATIONS, Event, Probe
from shared.units import read as read_number
from sites.models import Person

from . import actions
from .guidance import GUIDANCE, Guidance
from .guidance.steps import Task
from .judging import Typed, read_typed, settling_of
from .models import Check, CheckDraft, Kind, Stage, Verdict
from .surroundings import read_kept

ABANDONED_AFTER = timedelta(hours=1)
GONE = "This check was finished or given up meanwhile."
LONGEST = timedelta(hours=2)
STALE_AFTER = timedelta(minutes=30)  # common practice, no source: by then melt-water has gathered


def find(person: Person, probe: Probe, kind: str = Kind.ZERO) -> CheckDraft | None:
    return CheckDraft.objects.filter(person=person, probe=probe, kind=kind).first()


def of(person: Person, probe: Probe) -> list[CheckDraft]:
    """What this person has begun with this probe, of any kind."""
    return list(CheckDraft.objects.filter(person=person, probe=probe).order_by("pk"))


def guidance_of(draft: CheckDraft) -> Guidance:
    return GUIDANCE[Kind(draft.kind)]


def way_of(draft: CheckDraft) -> StrEnum:
    """How the reference of this check is made."""
    return guidance_of(draft).way(draft.preparation.get("kind"))


def begin(
    person: Person, probe: Probe, way: StrEnum, stage: Stage, now: datetime, kind: str = Kind.ZERO
) -> CheckDraft:  # fmt: skip
    """A new draft, or the one that is already there."""
    given = {
        "key": uuid4(),
        "started_at": now,
        "stage": stage,
        "preparation": {"kind": way.value, "points": [], "left": []},
    }
    return CheckDraft.objects.get_or_create(person=person, probe=probe, kind=kind, defaults=given)[0]


def drop(person: Person, probe: Probe, key: UUID | None) -> None:
    """Forget the draft with this key; another one stays."""
    CheckDraft.objects.filter(person=person, probe=probe, key=key).delete()


def likely_stage(probe: Probe) -> Stage:
    """As left, where the probe was adjusted or repaired and nothing conclusive came after; else as found."""
    live = Event.objects.filter(probe=probe, kind__in=ALTERATIONS, void__isnull=True)
    altered = live.order_by("-at").values_list("at", flat=True).first()
    if altered is None:
        return Stage.AS_FOUND
    since = Check.objects.filter(probe=probe, void__isnull=True, checked_at__gte=altered)
    return Stage.AS_FOUND if since.exclude(verdict=Verdict.INCONCLUSIVE).exists() else Stage.AS_LEFT


@transaction.atomic
def mark(draft: CheckDraft, point: StrEnum, state: str, now: datetime) -> CheckDraft:
    """Note a point of the preparation as `done`, `left` (not done) or `open` (taken back).

    What holds for the bath holds for every probe that is still to go into it; for one that is in, it stays as it was then.
    """
    held = _hold_with_fellows(draft)
    shared = point in guidance_of(held[0]).bath and held[0].inserted_at is None
    for each in held if shared else held[:1]:
        _mark(each, point, state, now)
    return held[0]


def _mark(draft: CheckDraft, point: StrEnum, state: str, now: datetime) -> None:
    for name in ("points", "left"):
        draft.preparation[name] = [p for p in draft.preparation.get(name, []) if p != point]
    if state in ("done", "left"):
        draft.preparation["points" if state == "done" else "left"].append(point.value)
    if state == "done" and point in guidance_of(draft).dated.get(way_of(draft), ()):
        draft.bath_at = now
    draft.save(update_fields=["preparation", "bath_at"])


@transaction.atomic
def tell(draft: CheckDraft, **about) -> CheckDraft:
    """Keep what was said beside the readings: `stage`, `note`, `immersion_mm`, `surroundings`."""
    draft = _hold(draft)
    for name, value in about.items():
        setattr(draft, name, value)
    draft.save(update_fields=list(about))
    return draft


@transaction.atomic
def insert(draft: CheckDraft, now: datetime) -> CheckDraft:
    """The probe goes in: timing starts, once. Raises ValidationError where the bath is too old."""
    draft = _hold(draft)
    if is_stale(draft, now):
        raise ValidationError(f"{step_again(draft).how} Then confirm it.")
    if draft.inserted_at is None:
        draft.inserted_at = now
        draft.save(update_fields=["inserted_at"])
    return draft


@transaction.atomic
def take_out(draft: CheckDraft) -> CheckDraft:
    """Start the timing again: the bath stays as it was made, or as it was made anew meanwhile; the readings go."""
    draft, *fellows = _hold_with_fellows(draft)
    draft.inserted_at, draft.readings = None, []
    newest = max((each for each in fellows if each.bath_at), key=lambda each: each.bath_at, default=None)
    if newest and (draft.bath_at is None or newest.bath_at > draft.bath_at):
        share_bath(draft, newest)
    draft.save(update_fields=["inserted_at", "readings", "preparation", "bath_at"])
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
def read(draft: CheckDraft, text: str, unit: str, seen: int, now: datetime) -> CheckDraft:
    """Add a timed reading. `seen` is how many the page showed: the same tap arriving twice counts once.

    Raises ValidationError saying what to type, or that the check has taken too long.
    """
    draft = _hold(draft)
    if draft.inserted_at is None:
        raise ValidationError("Tap “The probe is in” first, so that the time runs from there.")
    text = _temperature(text, unit)
    if 0 <= seen < len(draft.readings) and draft.readings[seen][1] == text:
        return draft
    elapsed = now - draft.inserted_at
    if elapsed > LONGEST or len(draft.readings) >= LONGEST_SERIES:
        raise ValidationError("This check has gone on too long to time it. Finish it, or start the timing again.")
    readings = [*draft.readings, [round(elapsed.total_seconds() * 1000), text, unit]]
    settling_of(draft.probe, read_typed(readings))
    draft.readings = readings
    draft.save(update_fields=["readings"])
    return draft


@transaction.atomic
def take_back(draft: CheckDraft, elapsed_ms: int) -> CheckDraft:
    """Take out the reading of this moment; a second tap finds none and takes no other."""
    draft = _hold(draft)
    draft.readings = [reading for reading in draft.readings if reading[0] != elapsed_ms]
    draft.save(update_fields=["readings"])
    return draft


def finish(draft: CheckDraft, by: Person) -> Check:
    """Record the check. Raises ValidationError while there is nothing to record."""
    if draft.inserted_at is None or not draft.readings:
        raise ValidationError("Type at least one reading of the display before you finish.")
    about = {
        "by": by, "key": draft.key, "probe": draft.probe, "site": draft.probe.site, "stage": draft.stage, "note": draft.note,
        "checked_at": draft.inserted_at + timedelta(milliseconds=draft.readings[-1][0]),
        "readings": [tuple(r) for r in draft.readings], "immersion_mm": draft.immersion_mm,
        "preparation": preparation_of(draft),
    }  # fmt: skip
    if draft.kind == Kind.BOILING:
        kept = draft.surroundings
        typed = (kept.get("typed", ""), kept.get("unit", ""))
        return actions.record_boiling(**about, surroundings=read_kept(kept), typed_pressure=typed)
    return actions.record_zero(**about)


def typed(draft: CheckDraft) -> list[Typed]:
    return read_typed([tuple(reading) for reading in draft.readings])


def preparation_of(draft: CheckDraft) -> Preparation | BoilingPreparation:
    """What was confirmed of it; that the probe was left to settle is seen from its readings."""
    guidance, way = guidance_of(draft), way_of(draft)
    points = {guidance.point(point) for point in draft.preparation.get("points", [])} & set(guidance.wanted[way])
    if guidance.waited and draft.readings and settling_of(draft.probe, typed(draft)).state is SettlingState.SETTLED:
        points.add(guidance.waited)
    made = BoilingPreparation if draft.kind == Kind.BOILING else Preparation
    return made(kind=way, points=frozenset(points))


def touched_at(draft: CheckDraft) -> datetime:
    """When somebody last worked on it."""
    if draft.inserted_at is None:
        return max(draft.started_at, draft.bath_at or draft.started_at)
    return draft.inserted_at + timedelta(milliseconds=draft.readings[-1][0] if draft.readings else 0)


def is_abandoned(draft: CheckDraft, now: datetime) -> bool:
    return now - touched_at(draft) >= ABANDONED_AFTER


def _hold(draft: CheckDraft) -> CheckDraft:
    related = CheckDraft.objects.select_related("probe__site__area__business")
    try:
        return related.select_for_update(of=("self",)).get(pk=draft.pk)
    except CheckDraft.DoesNotExist:
        raise ValidationError(GONE) from None


def _hold_with_fellows(draft: CheckDraft) -> list[CheckDraft]:
    """This draft first, then the others of its bath, made in the same way, whose probes are not in yet.

    Locked in one order, so that taps on two of them wait for each other rather than lock each other out.
    """
    if draft.together is None:
        return [_hold(draft)]
    others = Q(together=draft.together, person=draft.person_id, inserted_at__isnull=True)
    related = CheckDraft.objects.select_related("probe__site__area__business").order_by("pk")
    held = {each.pk: each for each in related.filter(others | Q(pk=draft.pk)).select_for_update(of=("self",))}
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
