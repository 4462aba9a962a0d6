"""A time after midnight is in the hours that still run then: it is due in them, goes with them, and counts for their day."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
from django.urls import reverse

from compliance.checks.models import ProbeState
from compliance.plans.actions import set_round
from compliance.plans.data import ClosureData, RoundData
from compliance.reminders import planning
from compliance.reminders.models import Reminder
from tests.checks import making
from tests.plans.making import check_every

from .making import swept, told

BAR = [None, *[(time(17), time(2))] * 5, None]  # Tuesday to Saturday evenings, until two in the morning
pytestmark = pytest.mark.usefixtures("clock")  # 11 March 2026, a Wednesday, noon UTC


def at(day: int, hour: int = 1, minute: int = 0) -> datetime:
    return datetime(2026, 3, day, hour, minute, tzinfo=UTC)


@pytest.fixture
def bar(world):
    planning.change_opening(by=world.manager, site=world.site, hours=BAR)
    return world.site


def closed(world, day: int) -> None:
    closes = date(2026, 3, day)
    planning.add_closure(
        by=world.manager, data=ClosureData(site=world.site, first_day=closes, last_day=closes, why="power cut")
    )


def test_a_reading_is_asked_for_while_the_kitchen_works_and_not_while_it_does_not(bar, world, clock):
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(18), time(1)]))
    clock.move_to(at(18, 12))
    swept()
    nights = [at(day) for day in (12, 13, 14, 15, 18)]  # of Wednesday to Saturday, and of Tuesday
    assert [due for due, _ in told() if due.hour == 1] == nights


@pytest.mark.parametrize("hour", [17, 19])
def test_where_tonight_is_closed_at_short_notice_the_reading_after_midnight_goes_and_what_was_due_stays(
    bar, world, clock, hour
):
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(18), time(1)]))
    clock.move_to(at(12, hour))
    closed(world, 12)
    clock.move_to(at(13, 12))
    swept()
    assert told(due_at__gt=at(12, 17)) == ([(at(12, 18), "overdue")] if hour == 19 else [])


@pytest.mark.parametrize("hour", [1, 2])
def test_where_the_day_that_begins_is_closed_at_short_notice_the_readings_of_the_night_stay(bar, world, clock, hour):
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(18), time(hour)]))
    clock.move_to(at(12, hour, 10))
    closed(world, 12)
    assert told(due_at=at(12, hour)) == [(at(12, hour), "due")]
    clock.move_to(at(13, 12))
    swept()
    assert [due for due, _ in told(due_at__gt=at(12, 2))] == []


@pytest.mark.parametrize("minute", [15, 45])
def test_a_check_of_the_night_is_for_the_hours_in_which_it_is_made(bar, world, clock, minute):
    check_every(world.probe, 1, by=world.manager, at=time(1))
    clock.move_to(at(14, 0, minute))  # in the hours of Friday
    making.good(world.probe, world.cook, at(14, 0, minute))
    assert ProbeState.objects.get().due_at == at(15), "in those of Saturday"
    clock.move_to(at(15, 1, minute))
    swept()
    making.good(world.probe, world.cook, at(15, 1, minute))
    assert told(due_at__gte=at(15)) == [(at(15), "cleared")]
    assert ProbeState.objects.get().due_at == at(18), "in those of Tuesday, and not before they begin"


def test_a_check_before_its_hour_at_the_end_of_the_night_is_in_what_was_planned_and_done(bar, world, clock):
    making.good(world.probe, world.cook, at(11, 11))
    check_every(world.probe, 1, by=world.manager, at=time(2), effective_from=date(2026, 3, 12))
    clock.move_to(at(13, 0, 45))
    making.good(world.probe, world.cook, at(13, 0, 45))
    assert told(due_at=at(13, 2)) == [(at(13, 2), "cleared")]
    assert ProbeState.objects.get().due_at == at(14, 2)


def test_the_stored_due_times_are_those_of_the_hours_when_they_change(world, clock):
    check_every(world.probe, 1, by=world.manager, at=time(1))
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(1)]))
    planning.change_opening(by=world.manager, site=world.site, hours=BAR, effective_from=date(2026, 3, 12))
    making.good(world.probe, world.cook, at(11, 12))
    assert ProbeState.objects.get().due_at == at(13), "of Thursday"
    clock.move_to(at(13, 1, 10))
    swept()
    assert told(round__isnull=False) == [(at(13), "due")]
    assert told(probe__isnull=False, due_at__gt=at(11, 12)) == [(at(13), "due")]


def test_what_was_asked_for_in_the_night_stands_on_the_page_of_its_date_though_that_is_closed(
    bar, world, clock, as_person
):
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(1)]))
    clock.move_to(at(15, 12))
    swept()
    page = as_person(world.cook).get(reverse("reminder_list", args=[world.site.pk]), {"day": "2026-03-15"}).context
    assert [row.record.told.reminder.due_at for row in page["table"].rows] == [at(15)]
    assert page["nothing"]["heading"] == "Closed on Sundays"
    assert "in the hours of the day before" in page["nothing"]["text"]


def test_the_night_on_which_the_clocks_go_forward(bar, world, clock):
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(1, 30), time(2)]))
    clock.move_to(at(28, 12))
    planning.extend_horizon(datetime.now(UTC))
    clock.move_to(at(29, 12))
    swept()
    assert [due for due, _ in told(due_at__gt=at(28, 12))] == [at(29)], "half past one is not shown; both are at two"
    assert Reminder.objects.get(limit__isnull=False, due_at=at(29)).closes_at - at(29) <= timedelta(days=1)
