"""The record lists the reasons that were given more than ten times, whatever for."""

from datetime import timedelta

import pytest

from compliance.plans.actions import close_days
from compliance.plans.data import ClosureData
from compliance.readings.actions import void
from compliance.records.sections import nothing, reasons
from compliance.records.sections.reasons import folded, reasons_given_often
from compliance.reminders.actions import excuse_reminder
from compliance.reminders.models import Reminder
from tests.checks import making
from tests.records.making import at, correct, scope_of, section, section_of, sections_of, take

pytestmark = pytest.mark.usefixtures("clock")
HEADING = "Reasons given more than ten times"


@pytest.fixture
def march(world, clock):
    clock.move_to(at(25, 12))
    making.bad(world.probe, world.cook, at(1, 7))


def used(world, number, reason):
    """So many readings with a probe that was not to be used."""
    return [take(world, "4.0", at(3, 8) + timedelta(minutes=n), used_despite=reason) for n in range(number)]


def excused(world, number, reason, *, day=5):
    for n in range(number):
        due = at(day) + timedelta(minutes=n)
        times = {
            "opens_at": due,
            "due_at": due,
            "grace_at": due,
            "closes_at": due + timedelta(seconds=30),
        }
        reminder = Reminder.objects.create(probe=world.probe, site=world.site, because="every day", **times)
        excuse_reminder(by=world.manager, reminder=reminder, reason=reason)


def often(world, **period):
    return [(r.words, r.total, dict(r.uses)) for r in reasons_given_often(scope_of(world.site, **period))]


def test_ten_times_is_not_more_than_ten(march, world):
    excused(world, 10, "busy")
    assert often(world) == []
    told = sections_of(scope_of(world.site), reasons, nothing)
    assert "No reason was given more than ten times in the period." in section(told, "What no entry was made of")
    excused(world, 1, "busy", day=6)
    assert often(world) == [("busy", 11, {"check or reading not done, excused": 11})]


def test_a_reason_counts_whatever_it_was_given_for_and_however_it_was_spelt(march, world):
    readings = used(world, 4, "Busy")
    excused(world, 2, "busy ")
    excused(world, 2, "BUSY.", day=6)
    for reading in readings[:2]:
        void(by=world.supervisor, reading=reading, reason="busy")
    close_days(
        by=world.manager, data=ClosureData(site=world.site, first_day=at(25).date(), last_day=at(25).date(), why="busy")
    )
    correct(world, readings[2], "4.4", "Busy", used_despite="Busy")
    assert often(world) == []
    excused(world, 2, "busy", day=7)
    given = {
        "check or reading not done, excused": 6,
        "reading struck out or corrected": 3,
        "probe used though it was not to be": 2,
        "closed days": 1,
    }
    assert often(world) == [("busy", 12, given)]


def test_the_most_frequent_comes_first_with_what_it_was_given_for(march, world):
    used(world, 11, "None at hand")
    excused(world, 12, "busy")
    told = section_of(world.site, HEADING)
    assert (
        "busy 12 check or reading not done, excused: 12 None at hand 11 probe used though it was not to be: 11" in told
    )


def test_only_reasons_of_the_period_and_of_the_site_count(march, world):
    excused(world, 12, "busy")
    assert often(world, first=at(6).date()) == []
    assert reasons_given_often(scope_of(world.other_site)) == []


@pytest.mark.parametrize("words", ["So busy", " so  busy ", "SO BUSY.", "so busy…", "so\nbusy"])
def test_spelling_makes_no_other_reason(words):
    assert folded(words) == "so busy"
