"""The fold beside the rows that are stored: over random histories they say the same, but for the differences that are known.

No test of the suite: `pytest tests/reminders/fold_beside_stored.py`, before the fold takes the place of what is stored.

Each known difference (`verify.KNOWN`) is a fault of the stored rows, or a promise that goes with them.
"""

from datetime import UTC, datetime, time, timedelta

import pytest
import time_machine
from django.core.exceptions import ValidationError
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from compliance.plans.actions import set_round
from compliance.plans.calendar import DAY
from compliance.plans.models import Closure
from compliance.reminders import planning
from compliance.reminders.sweep import sweep
from sites.models import Site
from tests.reminders import test_standstill
from tests.reminders.test_standstill import ACTS, HOURS, LATE_HOURS, Play, run
from tests.reminders.verify import differences_of_checks, differences_of_rounds
from tests.world import make_limit, make_site

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 3, 11, 12, tzinfo=UTC)  # a Wednesday
ZONES = ("Europe/Paris", "America/New_York", "Pacific/Auckland", "Europe/London")
SPRING, AUTUMN = datetime(2026, 3, 20, 12, tzinfo=UTC), datetime(2026, 10, 16, 12, tzinfo=UTC)  # two Fridays
HARD = settings(suppress_health_check=list(HealthCheck), max_examples=2, deadline=None)


class Wider(Play):
    """Its site may take another clock, too."""

    def zone(self, number, now):
        site = Site.objects.get(pk=self.site.pk)
        planning.change_site(by=self.world.supervisor, site=site, changes={"time_zone": ZONES[number % 4]})


acts = st.tuples(st.integers(1, HOURS), st.sampled_from([*ACTS, "zone"]), st.integers(0, 127))
scripts = st.lists(acts, min_size=1, max_size=9).map(sorted)


@pytest.mark.parametrize("begin", [SPRING, AUTUMN], ids=["clocks go forward", "clocks go back"])
@given(script=scripts)
@example([(36, "good", 23), (38, "dropped", 24), (45, "bad", 107), (188, "dropped", 14), (260, "good", 9)])
@example([(14, "withdrawn", 60), (180, "boiled", 58), (232, "late", 88), (234, "returned", 67), (309, "forget", 42)])
@example([(132, "moved", 117), (177, "patient", 45), (270, "unclear", 14), (294, "closed", 65)])
@example([(45, "moved", 42), (76, "moved", 87), (113, "patient", 10), (140, "hours", 12), (323, "moved", 94)])
@HARD
def test_checks_that_were_asked_for(world, monkeypatch, begin, script):
    monkeypatch.setattr(test_standstill, "BEGIN", begin)
    with time_machine.travel(begin, tick=False) as clock:
        play = Wider.begin(world)
        run(play, script, clock, every=None)
        now = begin + timedelta(hours=HOURS)
        clock.move_to(now)
        found = [each for each in differences_of_checks(now) if each.subject == play.probe.code and each.due > begin]
    assert [each for each in found if not each.known] == []


class Rounds:
    """Readings under one limit of a site of its own, and what may be changed about them."""

    def __init__(self, world):
        self.by = world.supervisor
        self.site = make_site(world.area, f"Site {Site.objects.count()}")
        self.limit = make_limit(self.site, by=world.manager)

    def act(self, what: str, number: int, now: datetime) -> None:
        self.site.refresh_from_db()
        try:
            getattr(self, what)(number, now)
        except ValidationError:
            return

    def times(self, number, now):
        at = [time(number % 24), time(number * 7 % 24, 30)]
        set_round(by=self.by, limit=self.limit, times=at, grace_minutes=15 + number % 90)

    def every(self, number, now):
        set_round(by=self.by, limit=self.limit, every_minutes=60 * (1 + number % 5))

    def off(self, number, now):
        set_round(by=self.by, limit=self.limit, in_force=False, reason="the season is over")

    def late_hours(self, number, now):
        planning.change_opening(by=self.by, site=self.site, hours=LATE_HOURS)

    def day_hours(self, number, now):
        planning.change_opening(by=self.by, site=self.site, hours=[(time(number % 10), time(20))] * 7)

    def closed(self, number, now):
        first = now.date() + DAY * (number % 4)
        planning.add_closure(by=self.by, site=self.site, first_day=first, last_day=first + DAY, why="works")

    def open_again(self, number, now):
        closure = Closure.objects.filter(site=self.site, void__isnull=True).last()
        if closure:
            planning.strike_closure(by=self.by, closure=closure, reason="called off")

    def zone(self, number, now):
        planning.change_site(by=self.by, site=self.site, changes={"time_zone": ZONES[number % 4]})

    def retire(self, number, now):
        planning.retire_limit(by=self.by, limit=self.limit, effective_from=now, reason="the season is over")

    def night(self, number, now):
        planning.roll_over([self.site.pk])

    def hold_again(self, number, now):
        planning.change_limit(by=self.by, limit=self.limit, effective_from=now, reason="the season is over")


OF_ROUNDS = [name for name in vars(Rounds) if name not in ("act", "night") and not name.startswith("_")]
round_acts = st.tuples(st.integers(1, HOURS), st.sampled_from(OF_ROUNDS), st.integers(0, 127))


@pytest.mark.parametrize("begin", [SPRING, AUTUMN], ids=["clocks go forward", "clocks go back"])
@given(script=st.lists(round_acts, min_size=1, max_size=7).map(sorted), first=st.sampled_from(["times", "every"]))
@HARD
def test_readings_that_were_asked_for(world, begin, script, first):
    with time_machine.travel(begin, tick=False) as clock:
        rounds = Rounds(world)
        nights = [(hour, "night", 0) for hour in range(96, HOURS, 96)]
        for hour, what, number in [(0, "day_hours", 7), (0, first, 20), *sorted([*script, *nights])]:
            now = begin + timedelta(hours=hour, minutes=1)
            clock.move_to(now)
            sweep(now)
            rounds.act(what, number, now)
        clock.move_to(end := begin + timedelta(hours=HOURS))
        planning.roll_over([rounds.site.pk])
        sweep(end)
        found = [each for each in differences_of_rounds(end) if each.site == rounds.site]
    assert [each for each in found if not each.known] == []
