"""The half-year of each invented probe: its checks, what happened to it, and when it was in use where."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from random import Random
from uuid import UUID
from zoneinfo import ZoneInfo

from compliance.checks import actions as checks
from compliance.checks.models import Check, Stage, Verdict
from compliance.metrology.bath import BathKind, Point, Preparation
from compliance.probes import actions as probes
from compliance.probes.models import EventKind
from shared import clock
from sites.models import Person, Site

from .pans import boil, boils
from .physics import DAYS, Instrument
from .scenario import ProbeStory
from .setting import Setting

GOOD_BATH = Preparation(kind=BathKind.PACKED_CRUSHED, points=frozenset(Point))
HASTY_BATH = Preparation(
    kind=BathKind.PACKED_CRUSHED, points=frozenset(set(Point) - {Point.DRAINED, Point.WELL_FORMED})
)
STILL_BATH = Preparation(kind=BathKind.UNSTIRRED, points=frozenset({Point.POTABLE, Point.IMMERSED}))
CHECKED_BY_COOK = 0.4


@dataclass(slots=True)
class Life:
    """One probe with its instrument; `aside` are the times when nobody used it, `moves` where it went."""

    story: ProbeStory
    instrument: Instrument
    setting: Setting
    chance: Random
    aside: list[tuple[datetime, datetime]] = field(default_factory=list)
    moves: list[tuple[datetime, str]] = field(default_factory=list)
    failed: list[Check] = field(default_factory=list)
    found_at: datetime | None = None

    @property
    def probe(self):
        return self.setting.probes[self.story.code]

    def site_at(self, at: datetime) -> str:
        return next((name for since, name in reversed(self.moves) if at >= since), self.story.site)

    def in_use(self, at: datetime) -> bool:
        if self.story.kind == "new" and at < self.setting.now - timedelta(days=3):
            return False
        return not any(start < at <= end for start, end in self.aside)


def live(setting: Setting, story: ProbeStory, number: int) -> Life:
    """Make one probe's checks and events, in the order in which they would have happened."""
    chance = Random(1000 + number)
    life = Life(story, Instrument(story, setting.begins, setting.now), setting, chance)
    if story.kind == "new":
        return life
    if story.kind == "wandered":
        _wander(life)
    for morning, at in enumerate(_mornings(life, number)):
        if life.in_use(at):
            check = _check(life, at)
            if boils(story, check.site.altitude_m, morning):
                boil(life.probe, check.site, check.checked_by, life.instrument, at + timedelta(minutes=25))
    if life.found_at:
        _check(
            life,
            life.found_at,
            bath=GOOD_BATH,
            note="Found on the shelf, label worn; checked before anyone used it again.",
        )
    if story.kind == "dropped" and story.behaviour.get("noticed"):
        _drop(life)
    if story.kind == "adjusted_unchecked":
        _adjust_unchecked(life)
    if story.kind == "withdrawn":
        _withdraw(life)
    if number == 7:
        _still_bath_then_good(life)
    if number == 12:
        _failed_in_a_bad_bath(life)
    return life


def _mornings(life: Life, number: int) -> Iterator[datetime]:
    """Weekly, before service, on the site's clock; a few probes have missed their last one."""
    zone, now = ZoneInfo(life.setting.scenario.time_zone), life.setting.now
    last = now - timedelta(days=8 if number % 13 == 3 else 0)
    for day in range(number % 5, DAYS + 1, 7):
        local = (life.setting.begins + timedelta(days=day)).astimezone(zone)
        if local.weekday() > 4:
            local -= timedelta(days=local.weekday() - 4)
        at = local.replace(hour=7, minute=life.chance.randrange(5, 55), second=0, microsecond=0).astimezone(now.tzinfo)
        if life.setting.begins < at < last - timedelta(minutes=20) and not _overlooked(life, at):
            yield at


def _overlooked(life: Life, at: datetime) -> bool:
    """A probe that wanders between kitchens is on nobody's list; before that adjustment nobody had checked."""
    return life.story.kind in ("wandered", "adjusted_unchecked") and at > life.setting.now - timedelta(days=11)


def _check(
    life: Life, at: datetime, *, stage: str = Stage.AS_FOUND, bath: Preparation | None = None, note: str = ""
) -> Check:
    site = life.setting.sites[life.site_at(at)]
    with clock.pretend(at + timedelta(minutes=1)):
        check = checks.record_zero(
            by=_checker(life, site), key=UUID(int=life.chance.getrandbits(128), version=4), probe=life.probe, site=site,
            stage=stage, checked_at=at, preparation=bath or life.chance.choice([GOOD_BATH, GOOD_BATH, GOOD_BATH, HASTY_BATH]),
            readings=life.instrument.in_ice(at, life.chance), immersion_mm=life.chance.choice([60, 70, 80, 100]), note=note,
        )  # fmt: skip
    if check.verdict == Verdict.OUT_OF_TOLERANCE and stage == Stage.AS_FOUND:
        _after_failure(life, check)
    return check


def _checker(life: Life, site: Site) -> Person:
    people = life.setting.cooks if life.chance.random() < CHECKED_BY_COOK else life.setting.managers
    return people[site.name]


def _after_failure(life: Life, check: Check) -> None:
    """Put aside; where it can be adjusted, adjusted the next day and checked as left."""
    life.failed.append(check)
    if not life.story.behaviour.get("repaired"):
        # Still used once before somebody labelled it.
        life.aside.append((check.checked_at + timedelta(hours=9), life.setting.now + timedelta(days=1)))
        return
    mended = check.checked_at + timedelta(days=1, hours=3)
    life.aside.append((check.checked_at, mended + timedelta(hours=1)))
    _event(life, EventKind.ADJUSTED, mended, "Zero set at the maker's screw after the failed check.")
    life.instrument.mended_at = mended
    _check(life, mended + timedelta(minutes=40), stage=Stage.AS_LEFT, bath=GOOD_BATH, note="After adjustment.")


def _event(life: Life, kind: str, at: datetime, text: str) -> None:
    manager = life.setting.managers[life.site_at(at)]
    with clock.pretend(at + timedelta(minutes=2)):
        checks.record_event(by=manager, probe=life.probe, kind=kind, at=at, note=text)


def _drop(life: Life) -> None:
    """Dropped in the afternoon, checked at once; the weekly check before it had passed."""
    dropped = life.instrument.steps[0][0]
    _event(life, EventKind.DROPPED, dropped, "Fell from the pass onto the tiles.")
    if not life.failed:
        _check(life, dropped + timedelta(minutes=35), bath=GOOD_BATH)


def _adjust_unchecked(life: Life) -> None:
    at = life.setting.now - timedelta(days=life.story.behaviour["days_ago"], hours=2)
    _event(life, EventKind.ADJUSTED, at, "Read a little low in the soup, turned the screw.")
    _check(
        life,
        at + timedelta(hours=20),
        stage=Stage.AS_LEFT,
        bath=GOOD_BATH,
        note="Checked the morning after the adjustment.",
    )


def _wander(life: Life) -> None:
    at = life.setting.now - timedelta(days=life.story.behaviour["days_ago"], hours=5)
    to = life.setting.sites[life.story.behaviour["to"]]
    with clock.pretend(at):
        probes.move(
            by=life.setting.managers[life.story.site],
            probe=life.probe,
            site=to,
            starts_at=at,
            reason="Lent to the school next door.",
        )
    life.moves.append((at, to.name))
    life.found_at = life.setting.now - timedelta(hours=26)


def _withdraw(life: Life) -> None:
    at = life.setting.now - timedelta(days=life.story.behaviour["days_ago"])
    life.aside.append((at, life.setting.now + timedelta(days=1)))
    _event(life, EventKind.WITHDRAWN, at, "Cable frayed; put away until it is replaced.")


def _still_bath_then_good(life: Life) -> None:
    at = life.setting.now - timedelta(days=20, hours=6)
    _check(life, at, bath=STILL_BATH, note="Ice cubes in a mug.")
    _check(life, at + timedelta(minutes=25), bath=GOOD_BATH, note="Made again with crushed ice.")


def _failed_in_a_bad_bath(life: Life) -> None:
    """A failed check whose bath was bad: voided by the supervisor, with the reason; both stay in the record."""
    at = life.setting.now - timedelta(days=40, hours=6)
    life.instrument.steps.append((at - timedelta(minutes=5), 1.6))
    check = _check(life, at, bath=GOOD_BATH)
    life.failed.remove(check)
    life.instrument.steps.pop()
    life.aside.clear()
    again = at + timedelta(minutes=50)
    _check(life, again, bath=GOOD_BATH, note="Made again from the start.")
    with clock.pretend(again + timedelta(hours=2)):
        checks.void_check(
            by=life.setting.supervisor_of(life.story.site), check=check,
            reason="The ice had melted to water in the meantime; seen by the manager and repeated at once in a new bath.",
        )  # fmt: skip
