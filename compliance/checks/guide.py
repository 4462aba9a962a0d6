"""The guided check as its page shows it: the steps in the order of the work, and what the readings say so far."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum
from math import ceil

from django.utils.safestring import SafeString

from compliance.metrology.settling import ALONE_AFTER, Settling, SettlingState
from compliance.metrology.verification import NUMBERS_TO_FAIL
from compliance.plans.schedule import listed
from shared.cautions import Caution, caution
from shared.time_text import stopwatch
from shared.unit_text import in_unit
from shared.units import Unit, show, show_spread

from . import draft_numbers, drafts
from .draft_numbers import Moved
from .evaluation import Typed, settling_of
from .kinds import Guidance, kind_of
from .kinds.steps import GuidanceWords, Task
from .models import CheckDraft
from .pictures import SettlingCourse, settling_svg
from .surroundings import boils_in_words, level_missing, level_wanted, typed_pressure
from .surroundings_form import LEVEL_ANSWERS

NEWEST = 3
NOT_SEEN = (Moved.NO, Moved.UNANSWERED)
OPEN = ("current", "todo")
HELD = {
    Moved.UNANSWERED: "Did you see it fall?",
    Moved.NO: "Nobody saw it move: the display may be held.",
}
NEXT = "Type what it shows now."
ENOUGH = f"From {stopwatch(ALONE_AFTER)} on one number is enough; three make it surer."
ENOUGH_NOW = "One number is enough; three make it surer."
UNDERWAY = {
    SettlingState.TOO_FEW: "Steady so far.",
    SettlingState.FALLING: "Still falling.",
    SettlingState.RISING: "Still rising.",
}
DOUBTFUL = "One reading does not go with the others. Was it typed right?"


@dataclass(frozen=True, slots=True)
class GuideStep:
    """A task with how far it has come: done, left, current or todo."""

    task: Task
    number: int
    state: str
    warning: str

    @property
    def cautions(self) -> list[Caution]:
        return [caution(key) for key in self.task.cautions]


@dataclass(frozen=True, slots=True)
class Taken:
    """A timed reading as it is shown; `elapsed_ms` names it when it is taken back."""

    elapsed_ms: int
    clock: str
    text: str


@dataclass(frozen=True, slots=True)
class SuspectReading:
    """A reading that was probably mistyped: the question, and the reading to take back."""

    question: str
    reading: Taken


@dataclass(frozen=True, slots=True)
class UnitQuestion:
    """A number that makes sense in the other unit only, as it was typed: the question and its two answers.

    `take_back`: the moment of a number that was turned into the other unit before it was typed; its first answer takes it
    back.
    """

    question: str
    answers: tuple[tuple[str, str], ...]
    number: str
    take_back: int | None = None


@dataclass(frozen=True, slots=True)
class LevelQuestion:
    """A pressure that may be of this place or reduced to sea level, as it was typed, and the answers."""

    pressure: str
    answers: tuple[tuple[str, str], ...] = tuple(LEVEL_ANSWERS)


@dataclass(frozen=True, slots=True)
class Timing:
    """What the readings say so far, `elapsed_ms` after the probe went in.

    `second_wanted`: one number alone lies beyond the tolerance. `said_unit`: the unit, as somebody answered. `moved`: what is
    known of the display having moved, once it matters; `moved_point` names the answer. `left_ms`: until the next number is
    wanted; 0 where it is now, or none is.
    """

    settling: Settling
    sentence: str
    elapsed_ms: int
    value: str
    same_again: str
    seen: int
    taken: tuple[Taken, ...]
    picture: SafeString
    tone: str
    doubts: tuple[SuspectReading, ...] = ()
    asks_unit: UnitQuestion | None = None
    second_wanted: bool = False
    said_unit: str = ""
    moved: Moved = Moved.NOT_ASKED
    moved_point: str = ""
    struck: tuple[str, ...] = ()
    left_ms: int = 0

    @property
    def left(self) -> str:
        return stopwatch(ceil(self.left_ms / 1000))

    @property
    def since(self) -> str:
        return stopwatch(self.elapsed_ms / 1000)

    @property
    def conclusive(self) -> bool:
        """Whether the check, finished now, tells which way it is as far as the numbers go."""
        return self.settled and not (self.second_wanted or self.asks_unit or self.may_be_held)

    @property
    def asks_moved(self) -> bool:
        """Whether the question, or its answer, is on the page; others come first."""
        return (self.may_be_held or self.moved is Moved.YES) and not (self.asks_unit or self.second_wanted)

    @property
    def may_be_held(self) -> bool:
        return self.moved in NOT_SEEN

    @property
    def newest(self) -> tuple[Taken, ...]:
        return self.taken[:NEWEST]

    @property
    def older(self) -> tuple[Taken, ...]:
        return self.taken[NEWEST:]

    @property
    def settled(self) -> bool:
        return self.settling.state is SettlingState.SETTLED


@dataclass(frozen=True, slots=True)
class Guide:
    """All that the page of a running check shows.

    `boils` says where water boils here, for a check at boiling; `worth` how closely the bath stands for the ice point once
    all that is still open is confirmed, `without` what the check is worth if none of it is. `old`: the bath is to be made good.
    """

    draft: CheckDraft
    words: GuidanceWords
    way: str
    boils: str
    steps: tuple[GuideStep, ...]
    current: GuideStep | None
    timing: Timing | None
    missing: tuple[str, ...]
    worth: str
    without: str = ""
    old: bool = False
    asks_level: LevelQuestion | None = None

    @property
    def made(self) -> str:
        """The way in which its reference is made, by name."""
        return drafts.way_of(self.draft).value

    @property
    def undone(self) -> list[GuideStep]:
        return [step for step in self.steps if step.state in OPEN]

    @property
    def at_once(self) -> list[GuideStep]:
        """What is confirmed with one tap."""
        return [step for step in self.undone if not step.task.by_hand]

    @property
    def cautions(self) -> list[Caution]:
        """Of all that is still to do, each once."""
        return [caution(key) for key in dict.fromkeys(key for step in self.undone for key in step.task.cautions)]

    @property
    def confirms(self) -> str:
        """The points that finishing confirms, by name."""
        return " ".join(step.task.point for step in self.undone)

    @property
    def finishing(self) -> str:
        """The words of the button that finishes the check: they say all that it confirms."""
        return finish_words([step.task for step in self.undone])

    @property
    def behind(self) -> list[GuideStep]:
        return [step for step in self.steps if step.state in ("done", "left")]


def finish_words(tasks: Sequence[Task], all_of: str = "") -> str:
    """What the button that finishes says: all that it confirms, of the probe or of `all_of` several."""
    said = " ".join(filter(None, (all_of, listed([task.said for task in tasks]))))
    return f"{said[:1].upper()}{said[1:]}: finish" if tasks else f"Finish {all_of.lower() or 'the check'}"


def guide(draft: CheckDraft, now: datetime) -> Guide:
    guidance, way = drafts.guidance_of(draft), drafts.way_of(draft)
    tasks = (guidance.before if draft.inserted_at is None else guidance.inside)[way]
    steps, old = _steps(draft, guidance, tasks), drafts.is_stale(draft, now)
    if old:
        steps = _with_old_bath(steps, drafts.step_again(draft))
    confirmed = frozenset(each.task.point for each in steps if each.state in OPEN) if draft.inserted_at else frozenset()
    return Guide(
        draft=draft,
        words=guidance.words,
        way=guidance.ways[way],
        boils=boils_in_words(draft),
        steps=steps,
        current=next((step for step in steps if step.state == "current"), None),
        timing=None if draft.inserted_at is None else timing(draft, now),
        missing=_missing(draft, guidance, confirmed),
        worth=_worth(draft, "So confirmed" if confirmed else "As confirmed so far", confirmed),
        without=_without(draft, guidance) if confirmed else "",
        old=old,
        asks_level=LevelQuestion(typed_pressure(draft.surroundings)) if level_wanted(draft) else None,
    )


def _steps(draft: CheckDraft, guidance: Guidance, tasks: tuple[Task, ...]) -> tuple[GuideStep, ...]:
    done, left = draft.preparation.get("points", []), draft.preparation.get("left", [])
    steps, reached = [], False
    for number, task in enumerate(tasks, start=1):
        state = "done" if task.point in done else "left" if task.point in left else "todo" if reached else "current"
        reached = reached or state == "current"
        steps.append(GuideStep(task, number, state, guidance.missing[task.point] if state == "left" else ""))
    return tuple(steps)


def _with_old_bath(steps: tuple[GuideStep, ...], again: Task) -> tuple[GuideStep, ...]:
    """The step that makes the bath good comes before all that is still to do."""
    found = next(step for step in steps if step.task.point == again.point)
    later = (replace(step, state="todo") if step.state == "current" else step for step in steps)
    return tuple(
        GuideStep(again, found.number, "current", "") if step.number == found.number else step for step in later
    )


def _worth(draft: CheckDraft, opening: str, confirmed: frozenset[StrEnum] = frozenset()) -> str:
    line = kind_of(draft).worth(draft, confirmed)
    return f"{opening}, {line}" if line else ""


def _without(draft: CheckDraft, guidance: Guidance) -> str:
    """What the check is worth if it is finished and nothing more is confirmed."""
    opening = "Finished without it, this is recorded as “not confirmed”"
    if _missing(draft, guidance):
        return f"{opening}: the check then says nothing about the probe."
    return f"{_worth(draft, opening).rstrip('.') or opening}."


def _missing(draft: CheckDraft, guidance: Guidance, confirmed: frozenset[StrEnum] = frozenset()) -> tuple[str, ...]:
    """What keeps it from being a reference at all: left out, or not confirmed though the probe is in."""
    done, left = {*draft.preparation.get("points", []), *confirmed}, draft.preparation.get("left", [])
    inside = draft.inserted_at is not None
    open_ = frozenset(p for p in guidance.met if p not in done and (p in left or inside))
    lacking = guidance.lacks(drafts.way_of(draft), open_)
    words = ((guidance.missing if point in left else guidance.unconfirmed)[point] for point in lacking)
    points = (in_unit(line, draft.probe.site.unit) for line in words)
    level = level_missing(draft) if inside or not level_wanted(draft) else ""
    return (*([level] if level else []), *points)


def timing(draft: CheckDraft, now: datetime) -> Timing:
    readings = draft_numbers.typed(draft)
    settling = settling_of(draft.probe, readings)
    asks_unit, second = _unit_question(draft), second_wanted(draft, settling, readings)
    moved = seen_to_move(draft, settling)
    course = SettlingCourse(settling.value, _residual(settling), draft_numbers.reference_milli(draft) or 0)
    elapsed_ms = (now - draft.inserted_at) // timedelta(milliseconds=1)
    left_ms = 0 if asks_unit or second else _left_ms(settling, readings, elapsed_ms)
    return Timing(
        settling=settling,
        sentence=_asked(draft, asks_unit, second, settling.value is not None)
        or HELD.get(moved)
        or _sentence(settling, readings, drafts.guidance_of(draft).words, left_ms),
        elapsed_ms=elapsed_ms,
        value=draft_numbers.shown(readings[-1]) if readings else "–",
        same_again=readings[-1].text if readings else "",
        seen=len(readings),
        taken=_taken(readings),
        picture=settling_svg(draft.probe, readings, kind_of(draft), course, draft.probe.site.unit),
        tone=_tone(settling, asking=bool(asks_unit or second or moved in NOT_SEEN)),
        doubts=tuple(SuspectReading(s.sentence, _as_taken(readings[s.number - 1])) for s in settling.suspects),
        asks_unit=asks_unit,
        second_wanted=second,
        said_unit=Unit(draft.unit).label if draft.unit else "",
        moved=moved,
        moved_point=drafts.guidance_of(draft).moved or "",
        struck=struck_in_words(draft.struck),
        left_ms=left_ms,
    )


def _left_ms(settling: Settling, readings: list[Typed], elapsed_ms: int) -> int:
    """Until one number alone is enough, or the next one may be; 0 where there is nothing to wait for."""
    if not readings:
        return max(0, round(1000 * ALONE_AFTER) - elapsed_ms)
    to_go = 0 if settling.state.is_fault else settling.seconds_to_go or 0
    return max(0, readings[-1].elapsed_ms + round(1000 * to_go) - elapsed_ms)


def _tone(settling: Settling, asking: bool) -> str:
    if settling.state.is_fault:
        return "bad"
    return "good" if settling.state is SettlingState.SETTLED and not asking else "info"


def _unit_question(draft: CheckDraft) -> UnitQuestion | None:
    asked = draft_numbers.unit_question(draft)
    if asked is None:
        return None
    typed, other = Unit(asked.unit), draft_numbers.OTHER[Unit(asked.unit)]
    if draft_numbers.is_converted(asked, draft_numbers.reference_milli(draft) or 0):
        shows = ((typed.value, f"No, it shows {asked.text} {typed.label}"),)
        turned_back = show(asked.value_milli, other, 0)
        question = f"Does the display show {turned_back.split()[0]}? {asked.text} {typed.label} are {turned_back}."
        return UnitQuestion(question, shows, asked.text, asked.elapsed_ms)
    answers = ((other.value, f"Yes, it shows {other.label}"), (typed.value, f"No, it shows {typed.label}"))
    return UnitQuestion(f"Is the display in {other.label}?", answers, asked.text)


def second_wanted(draft: CheckDraft, settling: Settling, readings: list[Typed]) -> bool:
    """Whether what speaks against the probe so far is one number alone."""
    alone = settling.count < NUMBERS_TO_FAIL if settling.state is SettlingState.SETTLED else len(readings) == 1
    reference, tolerance = draft_numbers.reference_milli(draft), draft.probe.tolerance_milli
    return alone and bool(readings) and draft_numbers.is_beyond(readings[-1].value_milli, reference, tolerance)


def seen_to_move(draft: CheckDraft, settling: Settling) -> Moved:
    """As the numbers or an answer have it; before it has settled nobody is asked."""
    return draft_numbers.moved(draft) if settling.state is SettlingState.SETTLED else Moved.NOT_ASKED


def _asked(draft: CheckDraft, asks_unit: UnitQuestion | None, second: bool, settled: bool) -> str:
    if asks_unit:
        return asks_unit.question
    if not second:
        return ""
    allowed = show_spread(draft.probe.tolerance_milli, draft.probe.site.unit, 1)
    if not settled:
        return f"Beyond the {allowed} allowed so far. Type the next number in some seconds."
    return f"Beyond the {allowed} allowed. One number fails no probe: type a second one in some seconds."


def struck_in_words(struck: list[dict]) -> tuple[str, ...]:
    """Numbers typed and taken back, with when, such as: 23 °C (at 0:40)."""
    return tuple(f"{each['typed']} °{each['unit']} (at {stopwatch(each['elapsed_ms'] / 1000)})" for each in struck)


def _sentence(settling: Settling, readings: list[Typed], words: GuidanceWords, left_ms: int) -> str:
    """What went wrong after it had settled is put right in its own way in each medium."""
    if not readings:
        return f"{words.waiting} {ENOUGH}" if left_ms else f"Type what it shows. {ENOUGH_NOW}"
    if settling.state in UNDERWAY and settling.seconds_to_go:
        return f"{UNDERWAY[settling.state]} {'Type the next number when the time is up.' if left_ms else NEXT}"
    if settling.state is SettlingState.DOUBTFUL:
        return DOUBTFUL
    if settling.state not in (SettlingState.DRIFTING, SettlingState.WARMING) or len(readings) < 2:
        return settling.sentence
    before = next((r for r in reversed(readings) if r.value_milli != readings[-1].value_milli), readings[0])
    rising = readings[-1].value_milli > before.value_milli
    return (words.rising_again if rising else words.falling_again) or settling.sentence


def _residual(settling: Settling) -> float | None:
    """Nothing can be said of what is still to come before it has settled."""
    return settling.residual if settling.state is SettlingState.SETTLED else None


def _taken(readings: list[Typed]) -> tuple[Taken, ...]:
    return tuple(_as_taken(reading) for reading in reversed(readings))


def _as_taken(reading: Typed) -> Taken:
    return Taken(reading.elapsed_ms, stopwatch(reading.elapsed_ms / 1000), draft_numbers.shown(reading))
