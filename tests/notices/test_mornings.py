"""When the day's checks are told, and that nothing is passed over between two looks."""

from datetime import time, timedelta

import pytest

from compliance.notices.models import Notice, State, Watermark
from compliance.notices.still_relevant import needless
from compliance.plans.data import PlanData
from compliance.reminders.models import Excuse, Reminder
from compliance.reminders.planning import change_plan
from tests.checks import making
from tests.notices.test_enqueue import DAY, HOUR, NINE, due, tell, told

__all__ = ["due"]  # a fixture
pytestmark = pytest.mark.usefixtures("mailing")


def test_the_morning_names_what_is_due_that_day_and_opens_the_check(due, clock):
    tell(NINE - 4 * HOUR, clock)
    assert not told("due")
    tell(NINE - 3 * HOUR, clock)
    notice = told("due").get()
    assert (notice.person, notice.state, notice.in_page) == (due.manager, State.WAITING, True)
    assert notice.subject == "Alder School: check probe P1 today"
    assert notice.link == f"/probes/{due.probe.pk}/check/"
    for part in (notice.text, notice.html):
        assert f"https://kitchen.example/probes/{due.probe.pk}/check/" in part
        assert "11 Mar 09:00" in part


def test_a_day_later_the_morning_names_it_again(due, clock):
    tell(NINE - HOUR, clock)
    tell(NINE + DAY, clock)
    assert told("due").count() == 2
    assert "overdue since" in told("due").last().text


@pytest.mark.parametrize(
    ("hour", "told_at"),
    [
        pytest.param(4, 3, id="an hour before the first check, where that is before six"),
        pytest.param(9, 6, id="at six"),
        pytest.param(15, 6, id="at six, what falls due in the afternoon, too"),
    ],
)
def test_looked_at_each_minute_it_is_told_once_in_its_morning(due, clock, hour, told_at):
    clock.move_to(NINE - 2 * DAY)
    plan = PlanData(probe=due.probe, every_days=7, at=time(hour), reason="Agreed.")
    change_plan(by=due.manager, data=plan)
    morning = (NINE - 9 * HOUR) + told_at * HOUR
    for minutes in (-61, -1):
        tell(morning + timedelta(minutes=minutes), clock)
        assert not told("due")
    tell(morning, clock)
    assert told("due").count() == 1
    for minutes in (1, 60, 180, 480):
        tell(morning + timedelta(minutes=minutes), clock)
    assert told("due").count() == 1


def test_what_is_asked_for_after_the_morning_is_told_an_hour_before(due, clock):
    change_plan(by=due.manager, data=PlanData(probe=due.probe, every_days=14, reason="Agreed."))
    tell(NINE, clock)
    assert not told("due")
    change_plan(by=due.manager, data=PlanData(probe=due.probe, every_days=7, at=time(15), reason="Agreed."))
    tell(NINE + 5 * HOUR - timedelta(minutes=1), clock)
    assert not told("due")
    tell(NINE + 5 * HOUR, clock)
    assert told("due").get().subject == "Alder School: check probe P1 today"


def test_the_check_after_one_that_is_excused_is_told_in_its_morning(due, clock):
    tell(NINE, clock)
    excused = Reminder.objects.get(probe=due.probe, due_at=NINE)
    Excuse.objects.create(reminder=excused, reason="The school is flooded.", recorded_by=due.manager)
    Notice.objects.all().delete()
    for minutes in (-1, 0, 1, 180, 181):
        tell(NINE + 7 * DAY - 3 * HOUR + timedelta(minutes=minutes), clock)
    notice = told("due").get()
    assert notice.subject == "Alder School: check probe P1 today" and "18 Mar 09:00" in notice.text
    assert needless(notice, NINE + 7 * DAY - 3 * HOUR) == ""


def test_a_check_just_after_midnight_is_told_when_it_falls_due(due, clock):
    clock.move_to(NINE - 2 * DAY)
    change_plan(by=due.manager, data=PlanData(probe=due.probe, every_days=7, at=time(0, 30), reason="Agreed."))
    midnight = NINE - 9 * HOUR
    for minutes in (-31, -30, -29, 0, 29):
        tell(midnight + timedelta(minutes=minutes), clock)
        assert not told("due")
    for minutes in (30, 31, 360, 361):
        tell(midnight + timedelta(minutes=minutes), clock)
        assert told("due").count() == 1


def test_a_morning_in_which_nothing_ran_is_told_when_it_runs_again(due, clock):
    tell(NINE - DAY, clock)
    tell(NINE + 30 * timedelta(minutes=1), clock)
    assert told("due").count() == 1


def test_a_failed_check_that_is_committed_late_is_told(due, clock, monkeypatch):
    """Its ring was lost, and it was looked for failed checks between its recording and its commit."""
    monkeypatch.setattr("compliance.notices.tasks.enqueue", lambda *given: None)
    clock.move_to(NINE - timedelta(minutes=10))
    making.bad(due.probe, due.cook, NINE - timedelta(minutes=10))
    Watermark.objects.update_or_create(kind="failed", defaults={"at": NINE})
    tell(NINE + timedelta(minutes=1), clock)
    assert told("failed", due.manager).count() == 1
