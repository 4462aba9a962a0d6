"""The half-year of each invented probe: its checks, what happened to it, and when it was in use where."""

from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from random import Random
from uuid import UUID

from compliance.checks import actions as checks
from compliance.checks.kinds.zero import ZeroData
from compliance.checks.models import Check, Stage, Verdict
from compliance.checks.timeline import lock, recut
from compliance.metrology.bath import BathKind, BathPoint, Preparation
from compliance.plans.calendar import DAY
from compliance.probes import actions as probes
from compliance.probes.models import EventKind
from shared import clock
from shared.phone_time import PhoneTime
from sites.models import Person, Site

from .agenda import Agenda
from .physics import SimulatedProbe
from .scenario import ProbeStory
from .setting import Setting, add_probe

GOOD_BATH = Preparation(kind=BathKind.PACKED_CRUSHED, points=frozenset(BathPoint))
HASTY_BATH = Preparation(
    kind=BathKind.PACKED_CRUSHED, points=frozenset(set(BathPoint) - {BathPoint.DRAINED, BathPoint.WELL_FORMED})
)
STILL_BATH = Preparation(kind=BathKind.UNSTIRRED, points=frozenset({BathPoint.POTABLE, BathPoint.IMMERSED}))
CHECKED_BY_COOK = 0.4
TYPED_IN = timedelta(minutes=1)
NEW_FOR, AFTERNOON = 3, time(14, 35)


@dataclass(frozen=True, slots=True)
class Entered:
    """When a check reached the record, and when the phone says it was made that kept it till then."""

    at: datetime
    phone: PhoneTime | None = None


@dataclass(slots=True)
class Life:
    """One probe with its instrument; `aside` are the times when nobody used it, `moves` where it went."""

    story: ProbeStory
    instrument: SimulatedProbe
    setting: Setting
    chance: Random
    agenda: Agenda
    left_until: date  # before which nobody checks it, though it may be asked for
    used_at: datetime  # last, to measure food
    aside: list[tuple[datetime, datetime]] = field(default_factory=list)
    moves: list[tuple[datetime, str]] = field(default_factory=list)
    failed: list[Check] = field(default_factory=list)
    mornings: int = 0
    typed_in_late: bool = False
    kept_on_phone: bool = False

    @property
    def probe(self):
        return self.setting.probes[self.story.code]

    def site_at(self, at: datetime) -> str:
        return next((name for since, name in reversed(self.moves) if at >= since), self.story.site)

    def in_use(self, at: datetime) -> bool:
        if self.story.kind == "new" and at < self.moment(NEW_FOR, time(10)):
            return False
        return not any(start < at <= end for start, end in self.aside)

    def moment(self, days_ago: int, at: time, site: str = "") -> datetime:
        return self.setting.moment(site or self.story.site, days_ago, at)

    def put_aside(self, at: datetime) -> None:
        """For good."""
        self.aside.append((at, self.setting.now + DAY))


def live(setting: Setting, story: ProbeStory, number: int, agenda: Agenda) -> Life:
    """Put what happens to one probe into the agenda; the checks of every week are made by `mornings`."""
    instrument = SimulatedProbe(story, setting.begins)
    first = setting.today - DAY * (setting.days - number % 5)
    life = Life(story, instrument, setting, Random(1000 + number), agenda, left_until=first, used_at=setting.begins)
    if "step" in story.behaviour:
        ago = story.behaviour.get("step_days_ago", story.behaviour.get("days_ago", 0))
        instrument.steps.append((life.moment(ago, AFTERNOON, story.behaviour.get("to", "")), story.behaviour["step"]))
    came = life.moment(NEW_FOR, time(10)) if story.kind == "new" else setting.begins
    agenda.put(came, lambda at: _come(life, at))
    if tell := STORIES.get(story.kind):
        tell(life)
    if number == 7:
        agenda.put(life.moment(20, time(10, 20)), lambda at: _still_bath_then_good(life, at))
    if number == 12:
        agenda.put(life.moment(40, time(10, 20)), lambda at: _failed_in_a_bad_bath(life, at))
    return life


def _come(life: Life, at: datetime) -> None:
    add_probe(life.setting, life.story, at)
    recut(lock(life.probe))


def check(
    life: Life,
    at: datetime,
    *,
    stage: str = Stage.AS_FOUND,
    bath: Preparation | None = None,
    note: str = "",
    entered: Entered | None = None,
) -> Check:
    site = life.setting.sites[life.site_at(at)]
    entered = entered or Entered(at + TYPED_IN)
    with clock.pretend(entered.at):
        by = _checker(life, site)
        data = ZeroData(
            key=UUID(int=life.chance.getrandbits(128), version=4),
            site=site,
            stage=stage,
            checked_at=at,
            preparation=bath or life.chance.choice([GOOD_BATH, GOOD_BATH, GOOD_BATH, HASTY_BATH]),
            readings=life.instrument.in_ice(at, life.chance),
            immersion_mm=life.chance.choice([60, 70, 80, 100]),
            note=note,
            phone=entered.phone and entered.phone.kept(),
        )
        made = checks.record(by=by, probe=life.probe, data=data)
    if made.verdict == Verdict.OUT_OF_TOLERANCE and stage == Stage.AS_FOUND:
        _after_failure(life, made)
    return made


def _checker(life: Life, site: Site) -> Person:
    people = life.setting.cooks if life.chance.random() < CHECKED_BY_COOK else life.setting.managers
    return people[site.name]


def _after_failure(life: Life, made: Check) -> None:
    """Put aside; where it can be adjusted, adjusted the next day and checked as left."""
    life.failed.append(made)
    if not life.story.behaviour.get("repaired"):
        # Still used once before somebody labelled it.
        life.put_aside(made.checked_at + timedelta(hours=9))
        return
    mended = life.setting.next_morning(life.site_at(made.checked_at), made.checked_at, time(10, 20))
    life.aside.append((made.checked_at, mended + timedelta(hours=1)))
    life.agenda.put(mended, lambda at: _mend(life, at))


def _mend(life: Life, at: datetime) -> None:
    life.instrument.mended_at = at
    _event(life, EventKind.ADJUSTED, at, "Zero set at the maker's screw after the failed check.")
    life.agenda.put(at + timedelta(minutes=40), lambda at: _as_left(life, at, "After adjustment."))


def _as_left(life: Life, at: datetime, note: str) -> None:
    check(life, at, stage=Stage.AS_LEFT, bath=GOOD_BATH, note=note)


def _event(life: Life, kind: str, at: datetime, text: str) -> None:
    manager = life.setting.managers[life.site_at(at)]
    with clock.pretend(at + 2 * TYPED_IN):
        checks.record_event(by=manager, probe=life.probe, kind=kind, at=at, note=text)


def _dropped(life: Life) -> None:
    """In the afternoon; checked at once. The weekly check before it had passed."""
    life.agenda.put(life.instrument.steps[0][0], lambda at: _drop(life, at))


def _drop(life: Life, at: datetime) -> None:
    _event(life, EventKind.DROPPED, at, "Fell from the pass onto the tiles.")
    life.agenda.put(at + timedelta(minutes=35), lambda at: check(life, at, bath=GOOD_BATH))


def _adjusted_unchecked(life: Life) -> None:
    """Nobody had checked it for a while, then somebody turned its screw; it was used until the next morning."""
    at = life.moment(life.story.behaviour["days_ago"], time(13, 40))
    life.agenda.put(life.moment(11, time(4)), lambda at: _leave(life, life.setting.today))
    life.agenda.put(
        at, lambda at: _event(life, EventKind.ADJUSTED, at, "Read a little low in the soup, turned the screw.")
    )
    checked = life.setting.next_morning(life.story.site, at, time(9, 35))
    life.agenda.put(checked, lambda at: _as_left(life, at, "Checked the morning after the adjustment."))


def _wandered(life: Life) -> None:
    """Lent to another kitchen, on nobody's list there, and found after a while."""
    to = life.story.behaviour["to"]
    life.agenda.put(life.moment(life.story.behaviour["days_ago"], time(13, 10)), lambda at: _move(life, at, to))
    life.agenda.put(life.moment(1, time(7, 50), to), lambda at: _find(life, at))


def _move(life: Life, at: datetime, to: str) -> None:
    probes.move(
        by=life.setting.managers[life.story.site],
        probe=life.probe,
        site=life.setting.sites[to],
        starts_at=at,
        reason="Lent to the school next door.",
    )
    recut(lock(life.probe))
    life.moves.append((at, to))
    _leave(life, life.setting.today)


def _find(life: Life, at: datetime) -> None:
    check(life, at, bath=GOOD_BATH, note="Found on the shelf, label worn; checked before anyone used it again.")


def _leave(life: Life, until: date) -> None:
    life.left_until = until


def _withdrawn(life: Life) -> None:
    life.agenda.put(life.moment(life.story.behaviour["days_ago"], time(15, 5)), lambda at: _withdraw(life, at))


def _withdraw(life: Life, at: datetime) -> None:
    life.put_aside(at)
    _event(life, EventKind.WITHDRAWN, at, "Cable frayed; put away until it is replaced.")


STORIES = {
    "dropped": _dropped,
    "adjusted_unchecked": _adjusted_unchecked,
    "wandered": _wandered,
    "withdrawn": _withdrawn,
}


def _still_bath_then_good(life: Life, at: datetime) -> None:
    check(life, at, bath=STILL_BATH, note="Ice cubes in a mug.")
    again = at + timedelta(minutes=25)
    life.agenda.put(again, lambda at: check(life, at, bath=GOOD_BATH, note="Made again with crushed ice."))


def _failed_in_a_bad_bath(life: Life, at: datetime) -> None:
    """A failed check whose bath was bad: voided by the supervisor, with the reason; both stay in the record."""
    life.instrument.steps.append((at - timedelta(minutes=5), 1.6))
    failed = check(life, at, bath=GOOD_BATH)
    life.failed.remove(failed)
    life.instrument.steps.pop()
    life.aside.clear()
    again = at + timedelta(minutes=50)
    life.agenda.put(again, lambda at: check(life, at, bath=GOOD_BATH, note="Made again from the start."))
    life.agenda.put(again + timedelta(hours=2), lambda at: _void(life, failed))


def _void(life: Life, failed: Check) -> None:
    checks.void_check(
        by=life.setting.supervisor_of(life.story.site),
        check=failed,
        reason="The ice had melted to water in the meantime; seen by the manager and repeated at once in a new bath.",
    )
