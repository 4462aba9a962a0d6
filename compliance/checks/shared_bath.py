"""Several probes in one bath: each with its own draft, clock and readings, all with one preparation of the ice."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from math import ceil
from uuid import UUID, uuid4

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet, UUIDField
from django.urls import reverse

from compliance.metrology.settling import ALONE_AFTER, SettlingState
from compliance.probes.models import Probe
from shared import clock
from shared.prepared import Prepared, Slot
from shared.time_text import stopwatch
from sites.access import role_at
from sites.models import Person, Role

from . import draft_numbers, drafts, unfinished
from .evaluation import settling_of
from .guide import finish_words, second_wanted, seen_to_move
from .kinds import GUIDANCE, USUAL
from .kinds.steps import Task
from .models import BEGINNING, Check, CheckDraft, Verdict

SOON = f"From {stopwatch(ALONE_AFTER)} on, one reading can be enough."
FINISHED = {
    Verdict.IN_TOLERANCE: ("finished", "finished"),
    Verdict.OUT_OF_TOLERANCE: ("failed", "out of tolerance"),
    Verdict.INCONCLUSIVE: ("again", "check again"),
}


@dataclass(frozen=True, slots=True)
class BathPlace:
    """One probe of a bath: how far it has come, in words, and its page.

    `state`: waiting, in, settled, fault; when its check is made finished, failed, again.
    """

    code: str
    url: str
    state: str
    words: str
    current: bool = False


def begin(person: Person, probes: Sequence[Probe], way: StrEnum, now: datetime) -> list[CheckDraft]:
    """One draft a probe, all of one bath; a check that was begun already joins with what was tapped and typed.

    A bath that somebody is making is gone on with, if it is made in the same way. What was left unfinished is kept first.
    """
    for probe in probes:
        unfinished.store_left(now, probe)
    return _begin(person, probes, way, now)


@transaction.atomic
def _begin(person: Person, probes: Sequence[Probe], way: StrEnum, now: datetime) -> list[CheckDraft]:
    wanted = {probe.pk for probe in probes}
    there = {each.probe_id: each for each in _hold(person) if each.probe_id in wanted}
    group = next((d.together for d in there.values() if d.together and not drafts.is_abandoned(d, now)), None)
    new = [probe for probe in probes if probe.pk not in there]
    begun = [drafts.begin(person, probe, way, drafts.likely_stage(probe), now) for probe in new]
    chosen = [each.pk for each in (*there.values(), *begun)]
    together = group or uuid4()
    CheckDraft.objects.filter(pk__in=chosen).update(together=together)
    return _one_bath(_group(person, together), way, now, grown=group is not None)


def _one_bath(members: list[CheckDraft], way: StrEnum, now: datetime, *, grown: bool) -> list[CheckDraft]:
    pattern = _pattern(members, way, now)
    keys = {str(each.key) for each in members} | {key for each in members if grown for key in each.company}
    for each in members:
        each.company = sorted(keys)
        if each.inserted_at is None and each is not pattern:
            _into(each, way, pattern, now)
        each.save(update_fields=["company", "preparation", "bath_at", "started_at"])
    return members


@transaction.atomic
def afresh(draft: CheckDraft, now: datetime) -> CheckDraft:
    """Start a check that was left half way again, in the bath that the others are in, or in a new one."""
    draft = next((each for each in _hold(draft.person) if each.pk == draft.pk), None)
    if draft is None:
        raise ValidationError(drafts.GONE)
    way, others = drafts.way_of(draft), [each for each in fellows_of(draft) if each.pk != draft.pk]
    draft_numbers.strike(draft, draft_numbers.TIMED_AGAIN)
    draft.inserted_at, draft.preparation = None, {}
    _into(draft, way, _pattern(others, way, now), now)
    draft.started_at = now
    draft.save(update_fields=["inserted_at", *drafts.NUMBERS, "preparation", "bath_at", "started_at"])
    return draft


def _into(draft: CheckDraft, way: StrEnum, pattern: CheckDraft | None, now: datetime) -> None:
    """Unsaved: the bath of `pattern`, or one that is still to be made; what is too old is begun anew."""
    old = drafts.is_abandoned(draft, now)
    if old or pattern is None or draft.preparation.get("kind") != way:
        draft.preparation, draft.bath_at = {"kind": way.value, "points": [], "left": []}, None
    if old:
        draft.started_at = now
    if pattern:
        drafts.share_bath(draft, pattern)


def _pattern(members: list[CheckDraft], way: StrEnum, now: datetime) -> CheckDraft | None:
    """The draft whose bath the others share: the one made last in this way, if it is not given up."""
    alike = [each for each in members if drafts.way_of(each) == way and not drafts.is_abandoned(each, now)]
    return max(alike, key=lambda d: (d.bath_at or BEGINNING, len(d.preparation.get("points", []))), default=None)


def after(draft: CheckDraft) -> str:
    """The page of the next probe of this bath that is not finished; those in the ice first. Empty where there is none."""
    left = [each for each in fellows_of(draft) if each.pk != draft.pk]
    left.sort(key=lambda d: (d.inserted_at is None, d.inserted_at or d.started_at, d.probe.code))
    return _page(left[0]) if left else ""


@dataclass(frozen=True, slots=True)
class Onward:
    """What to do meanwhile with another probe of this bath: words and address, each empty where this one is to be read now.

    `changes_in_ms`: after how long the page has to ask again; 0 where time alone changes nothing.
    """

    hint: str
    label: str = ""
    url: str = ""
    changes_in_ms: int = 0


def onward(draft: CheckDraft, fellows: Sequence[CheckDraft], now: datetime) -> Onward | None:
    """While a probe that shares its bath has no reading yet: the others go in first, and the longest in is read first."""
    if draft.readings or draft.inserted_at is None or len(fellows) < 2:
        return None
    waiting = next((each for each in fellows if each.inserted_at is None), None)
    if waiting:
        return Onward(f"Put the next probe in. {SOON}", *_link("Next into the ice", waiting))
    unread = [each for each in fellows if not each.readings]
    longest = min(unread, key=lambda each: each.inserted_at)
    if longest.pk != draft.pk:
        return Onward(f"All are in. {SOON}", *_link("Read the one that went in first", longest))
    left = ceil(1000 * (ALONE_AFTER - (now - draft.inserted_at).total_seconds()))
    return Onward(f"All are in. {SOON}", changes_in_ms=left) if left > 0 else Onward("Type what it shows.")


def next_in(draft: CheckDraft) -> str:
    """Where to go on when this probe has gone in: the next to go in, else the longest in; empty where this one is that."""
    fellows = fellows_of(draft)
    now_in = next((each for each in fellows if each.pk == draft.pk), draft)
    found = onward(now_in, fellows, clock.now())
    return found.url if found else ""


def next_to_read(draft: CheckDraft) -> str:
    """Where to go on when this probe has been read: what is not in yet, then the longest in without a number.

    Empty while this one wants another look, and when all have a number.
    """
    fellows = fellows_of(draft)
    if not any(each.pk == draft.pk and _ready(each) for each in fellows):
        return ""
    unread = [each for each in fellows if not each.readings]
    unread.sort(key=lambda each: (each.inserted_at is not None, each.inserted_at or each.started_at))
    return _page(unread[0]) if unread else ""


@dataclass(frozen=True, slots=True)
class ReadyProbe:
    """A probe of a bath whose check can be finished; `stood`: whether its display stood still from the first number on."""

    key: UUID
    code: str
    url: str
    value: str
    stood: bool


@dataclass(frozen=True, slots=True)
class BathEnd:
    """The checks of a bath that can be finished with one tap; the codes of those that cannot; what is `open` to be confirmed."""

    ready: tuple[ReadyProbe, ...]
    others: tuple[str, ...]
    open: tuple[Task, ...]

    @property
    def stood(self) -> tuple[ReadyProbe, ...]:
        return tuple(probe for probe in self.ready if probe.stood)

    @property
    def confirms(self) -> str:
        return " ".join(task.point for task in self.open)

    @property
    def finishing(self) -> str:
        return finish_words(self.open, f"All {len(self.ready)}")


def end_of(draft: CheckDraft, fellows: Sequence[CheckDraft]) -> BathEnd | None:
    """All of a bath, once every probe of it has a number and two or more can be finished, this one among them."""
    if len(fellows) < 2 or not all(each.readings for each in fellows):
        return None
    way = drafts.way_of(draft)
    ready = [each for each in fellows if drafts.way_of(each) == way and _ready(each)]
    if len(ready) < 2 or draft not in ready:
        return None
    others = tuple(each.probe.code for each in fellows if each not in ready)
    return BathEnd(tuple(map(_as_ready, ready)), others, tuple(_open(ready, drafts.guidance_of(draft).inside[way])))


def _open(ready: Sequence[CheckDraft], tasks: Sequence[Task]) -> list[Task]:
    return [task for task in tasks if any(task.point not in each.preparation.get("points", []) for each in ready)]


def chosen(draft: CheckDraft, keys: Sequence[str]) -> list[CheckDraft]:
    """Of the bath of this draft, those that a form names and that are still to be finished."""
    return [each for each in fellows_of(draft) if str(each.key) in keys]


def _as_ready(draft: CheckDraft) -> ReadyProbe:
    readings = draft_numbers.typed(draft)
    stood = seen_to_move(draft, settling_of(draft.probe, readings)) is draft_numbers.Moved.UNANSWERED
    return ReadyProbe(draft.key, draft.probe.code, _page(draft), draft_numbers.shown(readings[-1]), stood)


def _ready(draft: CheckDraft) -> bool:
    """Whether its check can be finished, but for the question whether the display was seen to move."""
    if not draft.readings:
        return False
    readings = draft_numbers.typed(draft)
    settling = settling_of(draft.probe, readings)
    if settling.state is not SettlingState.SETTLED or draft_numbers.unit_question(draft):
        return False
    return not second_wanted(draft, settling, readings) and seen_to_move(draft, settling) is not draft_numbers.Moved.NO


def _link(words: str, draft: CheckDraft) -> tuple[str, str]:
    return f"{words}: {draft.probe.code}", _page(draft)


def bath_of(draft: CheckDraft, fellows: Sequence[CheckDraft]) -> list[BathPlace]:
    """Every probe of this draft's bath, by its code; none where it is alone."""
    if draft.together is None:
        return []
    places = [_underway(each, each.pk == draft.pk) for each in fellows]
    places += [_finished(check) for check in made_in_bath_of(draft, fellows)]
    return sorted(places, key=lambda place: place.code) if len(places) > 1 else []


def made_in_bath_of(draft: CheckDraft, underway: Sequence[CheckDraft] = ()) -> list[Check]:
    """The checks that were finished in the bath of this draft, by the probe's code; also when the draft itself is finished."""
    keys = {UUID(key) for key in draft.company} - {each.key for each in underway}
    if not keys:
        return []
    made = Check.objects.live().filter(key__in=keys, recorded_by=draft.person_id)
    return list(made.select_related("probe").order_by("probe__code", "pk"))


def _underway(draft: CheckDraft, current: bool) -> BathPlace:
    state, words = _state(draft)
    return BathPlace(draft.probe.code, _page(draft), state, words, current)


def _state(draft: CheckDraft) -> tuple[str, str]:
    if draft.inserted_at is None:
        return "waiting", "waiting"
    if not draft.readings:
        return "in", "in the ice"
    readings = draft_numbers.typed(draft)
    settling = settling_of(draft.probe, readings)
    settled = settling.state is SettlingState.SETTLED
    moved = seen_to_move(draft, settling)
    held = moved is draft_numbers.Moved.NO
    wanting = held or draft_numbers.unit_question(draft) or (settled and second_wanted(draft, settling, readings))
    if settling.state.is_fault or wanting:
        return "fault", "look again"
    if moved is draft_numbers.Moved.UNANSWERED:
        return "in", "noted"
    return ("settled", "settled") if settled else ("in", "in the ice")


def _finished(check: Check) -> BathPlace:
    state, words = FINISHED[check.verdict]
    return BathPlace(check.probe.code, reverse("check_detail", args=[check.pk]), state, words)


def _page(draft: CheckDraft) -> str:
    return reverse(GUIDANCE[draft.kind].address, args=[draft.probe_id])


def fellows_of(draft: CheckDraft) -> list[CheckDraft]:
    """The drafts of its bath, itself among them, by the probe's code; none where it is alone."""
    return _group(draft.person, draft.together) if draft.together else []


_OF_BATH = Prepared(
    lambda: _mine(Slot("person")).filter(together=Slot("together", UUIDField())).order_by("probe__code", "pk")
)


def _group(person: Person, together: UUID) -> list[CheckDraft]:
    """The drafts of one bath that this person may still finish: a probe that went to another site is not shown."""
    found = _OF_BATH.objects(person=person.pk, together=together)
    may = {site: (role_at(person, site) or 0) >= Role.COOK for site in {each.probe.site for each in found}}
    return [each for each in found if may[each.probe.site]]


def _hold(person: Person) -> list[CheckDraft]:
    """What this person has begun. The person is locked first, so that two taps on the same form make one bath."""
    Person.objects.select_for_update(no_key=True).get(pk=person.pk)
    return list(_mine(person).order_by("pk").select_for_update(of=("self",)))


def _mine(person: Person | Slot) -> QuerySet[CheckDraft]:
    return CheckDraft.objects.filter(person=person, kind=USUAL.value).select_related("probe__site", "person")
