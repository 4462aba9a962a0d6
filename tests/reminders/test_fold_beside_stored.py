"""The fold beside the rows that are stored: over random histories they say the same, but for the differences that are known.

Each known difference (`verify.KNOWN`) is a fault of the stored rows, or a promise that goes with them.
"""

from datetime import UTC, datetime, time, timedelta

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from compliance.checks.probe_facts import probe_facts
from compliance.plans.actions import set_round
from compliance.plans.calendar import DAY
from compliance.plans.models import Closure
from compliance.probes.models import Probe
from compliance.reminders import planning
from compliance.reminders.models import Reminder
from compliance.reminders.sweep import sweep
from compliance.reminders.verify import differences_of_checks, differences_of_rounds, fold
from sites.models import Site
from tests.checks import making
from tests.plans.making import check_every
from tests.reminders import test_standstill
from tests.reminders.making import swept
from tests.reminders.test_standstill import ACTS, HOURS, LATE_HOURS, Play, run
from tests.world import make_limit, make_probe, make_site

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


# ------------------------------------------------------------------------------------------------------- the command


@pytest.fixture
def daily(clock, world):
    """Checked on the 10th, when it came into use, due every day from the 12th on; it is noon on the 13th."""
    probe = make_probe(world.site, "P2", by=world.manager, starts_at=NOON - DAY)
    making.good(probe, world.cook, NOON - DAY)
    check_every(probe, 1, by=world.manager, effective_from=NOON.date() + DAY)
    set_round(by=world.manager, limit=world.limit, times=[time(8)])
    clock.move_to(NOON + 2 * DAY)
    swept()
    return probe


def verified(capsys) -> str:
    call_command("verify_due")
    return capsys.readouterr().out


def test_what_is_stored_follows_from_the_facts(daily, capsys):
    assert Reminder.objects.count() == 4
    assert verified(capsys).endswith("\nWhat is stored of due checks and readings follows from the facts.\n")


def test_it_names_a_row_that_is_not_stored(daily, capsys):
    Reminder.objects.filter(probe=daily).earliest("due_at").delete()
    with pytest.raises(CommandError, match="1 due times differ"):
        call_command("verify_due")
    said = "Alder School, P2, due 12 Mar 2026 09:00: stored: not asked for; by the facts: missed.\n"
    assert capsys.readouterr().out.startswith(said)


def test_it_names_a_row_that_nothing_asks_for(daily):
    row = Reminder.objects.filter(probe=daily).earliest("due_at")
    row.pk, row.due_at = None, row.due_at - 10 * DAY
    row.save()
    with pytest.raises(CommandError, match="1 due times differ"):
        call_command("verify_due")


def test_it_names_a_reading_whose_window_is_another(daily, capsys):
    Reminder.objects.filter(round__isnull=False).update(grace_at=NOON + 3 * DAY)
    with pytest.raises(CommandError, match="2 due times differ"):
        call_command("verify_due")
    assert "overdue 14 Mar 12:00" in capsys.readouterr().out


def test_it_counts_known_differences_and_changes_nothing(daily, world, clock, capsys):
    making.bad(daily, world.cook, NOON + 2 * DAY)
    clock.move_to(NOON + 4 * DAY)
    swept()
    before = list(Reminder.objects.order_by("pk").values())
    assert "Known difference, 2 times: asked for by a plan while a failed check waited for its answer." in verified(
        capsys
    )
    assert list(Reminder.objects.order_by("pk").values()) == before
    told = fold(probe_facts([Probe.objects.select_related("site__area").get(pk=daily.pk)])[daily.pk], NOON + 4 * DAY)
    assert [each.status for each in told.values()][-2:] == ["cleared", "overdue"]
