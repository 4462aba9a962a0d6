"""The record shows what was planned against what was done: missed stays missed, excuses with their reason."""

from collections import Counter
from datetime import date, timedelta

import pytest
from django.urls import reverse

from compliance.plans.models import Round
from compliance.records.sections.reminders import grid_days
from compliance.reminders.actions import excuse_reminder
from compliance.reminders.missed import missed
from compliance.reminders.models import Reminder
from tests.checks import making
from tests.records.making import at, section_of
from tests.reminders.making import ready, swept

pytestmark = pytest.mark.usefixtures("clock")


def test_done_missed_and_excused_are_told_apart(world, clock):
    clock.move_to(at(2, 12))
    making.good(world.probe, world.cook, at(2, 10))
    ready(world.probe)
    clock.move_to(at(24, 12))
    swept()
    making.good(world.probe, world.cook, at(24, 11))
    excuse_reminder(by=world.manager, reminder=Reminder.objects.get(due_at=at(16)), reason="In the laboratory.")
    told = section_of(world.site, "Planned and done")
    assert "Of 3 checks 1 done late, 1 missed, 1 missed and excused afterwards" in told
    assert (
        "done late" in told
        and "MISSED, excused" in told
        and "Missed, and excused by MH" in told
        and "In the laboratory." in told
    )
    assert told.index("MISSED") < told.index("Missed, and excused")


def test_what_was_done_says_when_and_by_whom(world, clock):
    clock.move_to(at(2, 12))
    making.good(world.probe, world.cook, at(2, 10))
    ready(world.probe)
    clock.move_to(at(9, 12))
    swept()
    making.good(world.probe, world.cook, at(9, 12) - timedelta(minutes=10))
    told = section_of(world.site, "Planned and done")
    assert "11:50" in told and "CE" in told and "P1: every 7 days" in told


def row_due(at, *, closes, **fields) -> Reminder:
    """With an hour of grace."""
    times = {
        "opens_at": at - timedelta(hours=1),
        "due_at": at,
        "grace_at": at + timedelta(hours=1),
        "closes_at": closes,
    }
    return Reminder.objects.create(because="every day", **times, **fields)


def of_check(world) -> dict:
    return {"probe": world.probe, "site": world.site, "point": "zero"}


def of_round(world) -> dict:
    each = Round.objects.create(limit=world.limit, effective_from=at(1), times=["09:00"], recorded_by=world.manager)
    return {"limit": world.limit, "round": each, "site": world.site}


@pytest.fixture(params=[of_check, of_round])
def late(request, world, clock):
    """One that was asked for when its time was over, one that was not done in time and not owed, one not asked for before."""
    clock.move_to(at(10, 12))
    what, why = request.param(world), "the check of 1 March was struck out by Mara Holt"
    row_due(at(2), closes=at(3), recorded_at=at(5), **what)
    row_due(at(3), closes=at(4), recorded_at=at(1), cancelled_at=at(3, 11), cancelled_because=why, **what)
    row_due(at(4), closes=at(5), recorded_at=at(1), cancelled_at=at(4, 9), cancelled_because="withdrawn", **what)
    row_due(at(5), closes=at(6), recorded_at=at(5, 10), **what)
    return world


def test_late_and_cancelled_rows_stay_and_each_is_counted_for_what_it_is(late):
    told = section_of(late.site, "Planned and done")
    assert "1 missed, 1 not asked for, 1 not done in time and not owed, 1 not asked in time" in told
    because = "because the check of 1 March was struck out by Mara Holt."
    assert f"Not done in time; later found not to be owed, {because}" in " ".join(told.split())


def test_pages_tell_them_too(late, as_person):
    client, seen = as_person(late.reader), {}
    for day in (2, 3, 4, 5):
        page = client.get(reverse("reminder_list", args=[late.site.pk]), {"day": f"2026-03-0{day}"})
        tiles = {tile["label"]: tile["value"] for tile in page.context["tiles"]}
        seen |= {day: [label for label, value in tiles.items() if value]}
        assert (day == 3) is ("Later found not to be owed: the check" in page.content.decode())
    assert seen == {
        2: ["not asked in time"],
        3: ["not done in time, not owed"],
        4: ["no longer asked for"],
        5: ["missed"],
    }


def test_none_of_them_counts_as_missed_over_an_area(late):
    assert [row.due_at for row in missed([late.site.pk], at(10, 12))] == [at(5)]


def test_a_site_without_plans_says_so(world):
    assert "Nothing fell due at this site" in section_of(world.site, "Planned and done")


def test_days_alike_stand_together_and_any_with_an_exception_by_itself():
    full, late, nothing = Counter(done=2), Counter({"done": 1, "done late": 1}), Counter()
    march = [
        (date(2026, 3, day), [cell, nothing]) for day, cell in ((2, full), (3, full), (5, full), (6, late), (7, late))
    ]
    told = [(row.cells[0], row.cells[1]) for row in grid_days(march)]
    assert told == [
        ("Mon 2 Mar to Tue 3 Mar", "2 of 2 a day"),  # on the 4th nothing was planned
        ("Thu 5 Mar", "2 of 2"),
        ("Fri 6 Mar", "2 of 2: 1 done late"),
        ("Sat 7 Mar", "2 of 2: 1 done late"),
    ]
