"""The guided check as its page shows it: the steps in the order of the work, and what the readings say so far."""

from dataclasses import dataclass
from datetime import datetime

from django.utils.safestring import SafeString

from compliance.metrology.bath import CRITICAL, MISSING, BathKind, Point
from compliance.metrology.settling import Settling, SettlingState
from shared.cautions import Caution, caution

from . import drafts
from .judging import Typed, settling_of
from .models import CheckDraft
from .pictures import settling_svg


@dataclass(frozen=True, slots=True)
class Task:
    """One step: what to do, how to tell that it is right, and what the button says."""

    point: Point
    title: str
    how: str
    cautions: tuple[str, ...] = ()


BATH = {
    BathKind.PACKED_CRUSHED: (
        Task(
            Point.CRUSHED, "Crush the ice fine", "Like coarse salt, pieces of about 1 mm. Fill a clean cup to the top."
        ),
        Task(
            Point.POTABLE,
            "Drinking-water ice, no salt",
            "The ice and the cup are clean; nothing was added.",
            ("ice_bath",),
        ),
        Task(Point.WETTED, "Wet it", "Pour in cold drinking water until the ice turns from white to glassy."),
        Task(Point.DRAINED, "Drain it", "Pour the water off. Free water at the bottom is warmer than the ice."),
        Task(
            Point.STEM_CLEANED, "Clean the stem", "Wipe it, then rinse it or let it dry.", ("probe_hygiene", "alcohol")
        ),
        Task(Point.WELL_FORMED, "Make a hole", "Push a clean rod down the middle, as deep as the probe will go."),
    ),
    BathKind.STIRRED_CUBES: (
        Task(
            Point.POTABLE,
            "Fill a cup",
            "Ice cubes to the top, cold drinking water to just below, no salt.",
            ("ice_bath",),
        ),
        Task(
            Point.STEM_CLEANED, "Clean the stem", "Wipe it, then rinse it or let it dry.", ("probe_hygiene", "alcohol")
        ),
    ),
}
IN_THE_ICE = {
    BathKind.PACKED_CRUSHED: (
        Task(Point.PACKED, "Press the ice to the stem", "No gap of air or water."),
        Task(
            Point.IMMERSED,
            "Deep enough",
            "Tip and 50 mm more in the ice, clear of sides and bottom.",
        ),
    ),
    BathKind.STIRRED_CUBES: (
        Task(
            Point.IMMERSED,
            "Deep enough",
            "Tip and 50 mm more among the cubes, clear of sides and bottom. Keep stirring.",
        ),
    ),
}
NEWEST = 3
KINDS = {
    BathKind.PACKED_CRUSHED: "Crushed ice, packed",
    BathKind.STIRRED_CUBES: "Ice cubes in water, stirred all the time",
    BathKind.UNSTIRRED: "Ice in water, not stirred",
    BathKind.UNCONFIRMED: "Not known how it was made",
}


@dataclass(frozen=True, slots=True)
class Step:
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
class Timing:
    """What the readings say so far."""

    settling: Settling
    since: str
    value: str
    same_again: str
    seen: int
    taken: tuple[Taken, ...]
    picture: SafeString
    tone: str

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
    """All that the page of a running check shows."""

    draft: CheckDraft
    kind: str
    steps: tuple[Step, ...]
    current: Step | None
    timing: Timing | None
    missing: tuple[str, ...]

    @property
    def confirming(self) -> bool:
        """Whether something is still to be confirmed."""
        return self.current is not None

    @property
    def ahead(self) -> list[Step]:
        return [step for step in self.steps if step.state == "todo"]

    @property
    def behind(self) -> list[Step]:
        return [step for step in self.steps if step.state in ("done", "left")]


def guide(draft: CheckDraft, now: datetime) -> Guide:
    kind = BathKind(draft.preparation.get("kind", BathKind.PACKED_CRUSHED))
    tasks = BATH[kind] if draft.inserted_at is None else IN_THE_ICE[kind]
    steps = _steps(draft, tasks)
    return Guide(
        draft=draft,
        kind=KINDS[kind],
        steps=steps,
        current=next((step for step in steps if step.state == "current"), None),
        timing=None if draft.inserted_at is None else timing(draft, now),
        missing=_missing(draft, kind),
    )


def _steps(draft: CheckDraft, tasks: tuple[Task, ...]) -> tuple[Step, ...]:
    done, left = draft.preparation.get("points", []), draft.preparation.get("left", [])
    steps, reached = [], False
    for number, task in enumerate(tasks, start=1):
        state = "done" if task.point in done else "left" if task.point in left else "todo" if reached else "current"
        reached = reached or state == "current"
        steps.append(Step(task, number, state, MISSING[task.point] if state == "left" else ""))
    return tuple(steps)


def _missing(draft: CheckDraft, kind: BathKind) -> tuple[str, ...]:
    """What keeps the bath from standing for 0 °C at all, as things are now."""
    done, left = draft.preparation.get("points", []), draft.preparation.get("left", [])
    inside = draft.inserted_at is not None
    wanted = [p for p in CRITICAL[kind] if p not in done and (p in left or inside)]
    return tuple(MISSING[point] for point in wanted)


def timing(draft: CheckDraft, now: datetime) -> Timing:
    readings = drafts.typed(draft)
    settling = settling_of(draft.probe, readings)
    unit = draft.probe.site.unit
    return Timing(
        settling=settling,
        since=clock((now - draft.inserted_at).total_seconds()),
        value=_shown(readings[-1]) if readings else "–",
        same_again=readings[-1].text if readings else "",
        seen=len(readings),
        taken=_taken(readings),
        picture=settling_svg(draft.probe, readings, unit, value=settling.value, residual=_residual(settling)),
        tone={SettlingState.SETTLED: "good", SettlingState.DRIFTING: "bad"}.get(settling.state, "info"),
    )


def _residual(settling: Settling) -> float | None:
    """Nothing can be said of what is still to come before it has settled."""
    return settling.residual if settling.state is SettlingState.SETTLED else None


def _taken(readings: list[Typed]) -> tuple[Taken, ...]:
    return tuple(Taken(r.elapsed_ms, clock(r.elapsed_ms / 1000), _shown(r)) for r in reversed(readings))


def _shown(reading: Typed) -> str:
    return f"{reading.text} °{reading.unit}"


def clock(seconds: float) -> str:
    """Minutes and seconds, such as 1:05; hours too where they are needed."""
    minutes, rest = divmod(max(0, int(seconds)), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"
