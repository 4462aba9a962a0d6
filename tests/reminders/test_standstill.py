"""Whether the sweep ran all the time or stood still for days, the rows are the same; and they agree with what is due by the
checks, whatever was entered late, struck out, moved, closed or withdrawn meanwhile.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta

import pytest
import time_machine
from django.core.exceptions import ValidationError
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from compliance.checks.actions import void_check, void_event
from compliance.checks.falling_due import since_here
from compliance.checks.instruments import move_probe
from compliance.checks.models import Check, ProbeState
from compliance.checks.stays import stays_of
from compliance.checks.timeline import CHECKED
from compliance.plans.calendar import DAY
from compliance.plans.demands import Checked, Happened, outstanding
from compliance.plans.models import Closure
from compliance.probes.models import Event, Probe
from compliance.reminders import planning
from compliance.reminders.actions import excuse_reminder
from compliance.reminders.models import Reminder
from compliance.reminders.status import OPEN, Status, with_status
from compliance.reminders.sweep import sweep
from sites.models import Site
from tests.checks import making
from tests.world import make_probe, make_site

BEGIN = datetime(2026, 3, 20, 12, tzinfo=UTC)  # a Friday; the clocks change on the 29th
HOURS = 24 * 14
LATE_HOURS = [(time(15), time(2))] * 5 + [None, (time(15), time(2))]  # past midnight, closed on Saturdays
ROWS = (
    "since_at", "opens_at", "due_at", "grace_at", "closes_at", "because", "away", "cancelled_at", "cancelled_because",
)  # fmt: skip
pytestmark = pytest.mark.django_db


@dataclass
class Play:
    """A probe at a site of its own, with another site to go to."""

    world: object
    site: Site
    other: Site
    probe: Probe

    @classmethod
    def begin(cls, world) -> "Play":
        number = Site.objects.count()
        site, other = make_site(world.area, f"Here {number}"), make_site(world.area, f"There {number}")
        probe = make_probe(site, f"S{number}", by=world.manager)
        making.good(probe, world.cook, BEGIN - timedelta(days=1))
        planning.roll_over([site.pk, other.pk])
        return cls(world, site, other, probe)

    def act(self, what: str, number: int, now: datetime) -> None:
        """What cannot be done is left out, as a person would."""
        self.probe.refresh_from_db()
        try:
            getattr(self, what)(number, now)
        except ValidationError:
            return

    def good(self, number, now):
        making.good(self.probe, self.world.cook, now)

    def late(self, number, now):
        making.good(self.probe, self.world.cook, max(BEGIN, now - timedelta(hours=number)))

    def bad(self, number, now):
        making.bad(self.probe, self.world.cook, now - timedelta(hours=number % 3))

    def too_low(self, number, now):
        making.boiling(self.probe, self.world.cook, now, "92.0")

    def boiled(self, number, now):
        making.boiling(self.probe, self.world.cook, now)

    def excused(self, number, now):
        rows = Reminder.objects.filter(probe=self.probe, due_at__lte=now, cancelled_at=None).order_by("due_at")
        if rows:
            excuse_reminder(by=self.world.manager, reminder=rows[len(rows) - 1], reason="Not in use yet this week.")

    def unclear(self, number, now):
        making.unclear(self.probe, self.world.cook, now)

    def dropped(self, number, now):
        making.event(self.probe, self.world.cook, "dropped", now - timedelta(hours=number % 30))

    def withdrawn(self, number, now):
        making.event(self.probe, self.world.cook, "withdrawn", now - timedelta(hours=number % 30), "to the laboratory")

    def returned(self, number, now):
        making.event(self.probe, self.world.cook, "returned", now)

    def void(self, number, now):
        checks = list(Check.objects.filter(probe=self.probe, void__isnull=True).order_by("pk"))[1:]
        if checks:
            void_check(by=self.world.manager, check=checks[number % len(checks)], reason="Wrong probe.")

    def forget(self, number, now):
        events = list(Event.objects.filter(probe=self.probe, void__isnull=True).order_by("pk"))
        if events:
            void_event(by=self.world.manager, event=events[number % len(events)], reason="Wrong probe.")

    def every(self, number, now):
        given = {"every_days": 1 + number % 6, "at": time(number % 24)}
        planning.change_plan(by=self.world.manager, probe=self.probe, reason="tried", **given)

    def patient(self, number, now):
        given = {"every_days": 1 + number % 2, "at": time(number % 24), "grace_minutes": 60 * (number % 70)}
        planning.change_plan(by=self.world.manager, probe=self.probe, reason="tried", **given)

    def before_service(self, number, now):
        planning.change_plan(by=self.world.manager, probe=self.probe, every_days=1, before_service=True, reason="tried")

    def at_midnight(self, number, now):
        opens = time(number % 2, 10 * (number % 4))
        planning.change_opening(by=self.world.manager, site=self.site, hours=[(opens, time(20))] * 7)

    def weekdays(self, number, now):
        given = {"pattern": "weekdays", "weekdays": 1 + number % 127, "at": time(number % 24)}
        planning.change_plan(by=self.world.manager, probe=self.probe, reason="tried", **given)

    def site_plan(self, number, now):
        planning.change_plan(by=self.world.manager, site=self.other, every_days=1 + number % 4, reason="tried")

    def closed(self, number, now):
        first = now.date() + DAY * (number % 4)
        planning.add_closure(by=self.world.manager, site=self.site, first_day=first, last_day=first + DAY, why="works")

    def open_again(self, number, now):
        closures = list(Closure.objects.filter(site=self.site, void__isnull=True))
        if closures:
            planning.strike_closure(by=self.world.manager, closure=closures[-1], reason="called off")

    def hours(self, number, now):
        planning.change_opening(by=self.world.manager, site=self.site, hours=LATE_HOURS)

    def moved(self, number, now):
        to = self.other if self.probe.site_id == self.site.pk else self.site
        at = now - timedelta(hours=number % 20)
        move_probe(by=self.world.supervisor, probe=self.probe, site=to, starts_at=at, reason="Lent.")

    def rows(self) -> list[tuple]:
        rows = Reminder.objects.filter(probe=self.probe).order_by("due_at")
        names = {self.site.name: "here", self.other.name: "there"}
        return [
            (names[name], *row[:-1], row[-1].replace(self.other.name, "there").replace(self.site.name, "here"))
            for name, *row in rows.values_list("site__name", *ROWS)
        ]


ACTS = [name for name in vars(Play) if name not in ("begin", "act", "rows") and not name.startswith("_")]
ACTS = [name for name in ACTS if callable(getattr(Play, name))]
scripts = st.lists(
    st.tuples(st.integers(1, HOURS), st.sampled_from(ACTS), st.integers(0, 127)), min_size=1, max_size=9
).map(sorted)  # fmt: skip
HARD = settings(suppress_health_check=list(HealthCheck), max_examples=15, deadline=None)


def run(play: Play, script, clock, *, every: int | None) -> None:
    acts = list(script)
    for hour in range(HOURS + 1):
        now = BEGIN + timedelta(hours=hour)
        clock.move_to(now)
        if every and hour % every == 0:
            sweep(now)
        if every and hour % 24 == 14:
            planning.roll_over([play.site.pk, play.other.pk])
        while acts and acts[0][0] == hour:
            _, what, number = acts.pop(0)
            play.act(what, number, now)
    sweep(BEGIN + timedelta(hours=HOURS))


@given(scripts)
@example([(29, "good", 119), (63, "closed", 110), (173, "dropped", 70), (176, "dropped", 57), (181, "void", 92)])
@example(
    [(1, "patient", 25), (33, "before_service", 0), (212, "returned", 0)]
)  # asked anew, by a plan of shorter grace
@HARD
def test_a_sweep_that_stood_still_writes_what_one_all_the_time_writes(world, script):
    with time_machine.travel(BEGIN, tick=False) as clock:
        often = Play.begin(world)
        run(often, script, clock, every=4)
        clock.move_to(BEGIN)
        once = Play.begin(world)
        run(once, script, clock, every=None)
    assert once.rows() == often.rows()


@given(scripts)
@example([(141, "too_low", 0)])  # in the very minute in which the plan asks, too
@HARD
def test_what_is_open_is_what_is_due_by_the_checks(world, script):
    """Something is open when, and only when, a check is due; that asks for it since the state says so, or at once besides."""
    with time_machine.travel(BEGIN, tick=False) as clock:
        play = Play.begin(world)
        run(play, script, clock, every=5)
        now = BEGIN + timedelta(hours=HOURS)
        state = ProbeState.objects.get(probe=play.probe)
        rows = with_status(Reminder.objects.filter(probe=play.probe, closes_at__gt=now), now)
        still = [row for row in rows if row.status in OPEN or (row.status == Status.EXCUSED and not row.cancelled_at)]
        at_once = asking(play.probe, state, now)
    if state.due_at is None or state.due_at > now:
        assert not still
        return
    assert state.due_at in {row.since_at for row in still}
    assert {row.since_at for row in still} <= {state.due_at, *at_once}
    assert at_once <= set(Reminder.objects.filter(probe=play.probe).values_list("due_at", flat=True))


def asking(probe, state, now) -> set[datetime]:
    """When all that asks for a check at once by the pure rule does so."""
    checks = [Checked(*row) for row in Check.objects.filter(probe=probe, void__isnull=True).values_list(*CHECKED)]
    events = [Happened(e.at, e.kind, e.pk) for e in Event.objects.filter(probe=probe, void__isnull=True)]
    placed = Probe.objects.select_related("site").get(pk=probe.pk)
    reasons = outstanding(checks, events, probe.placements.earliest("starts_at").starts_at).reasons
    here = [since_here(due, placed, stays_of([placed]).get(placed.pk)).at for due in reasons]
    return {at for at in here if state.due_at and state.due_at < at <= now}
