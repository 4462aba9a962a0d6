"""A reading clears a round only with a probe that was to be relied on, as known when it was entered; no later doubt counts."""

from datetime import UTC, datetime, time, timedelta

import pytest
from django.urls import reverse

from compliance.checks.actions import void_check
from compliance.plans.actions import set_round
from compliance.plans.data import RoundData
from compliance.readings.actions import correct
from compliance.readings.data import ReadingData
from compliance.readings.importing import import_file
from compliance.readings.models import Reading
from tests.checks.making import bad, event, good
from tests.readings.files import csv_file, row
from tests.readings.helpers import form_data, take
from tests.records.making import record_of, section
from tests.reminders.making import statuses

pytestmark = pytest.mark.usefixtures("clock")  # 11 March 2026, a Wednesday, noon UTC
REASON = "No other probe at hand."


def at(hour: int, minute: int = 0, day: int = 12) -> datetime:
    return datetime(2026, 3, day, hour, minute, tzinfo=UTC)


@pytest.fixture
def asked(clock, world):
    """Asked for at nine on Thursday, of which it is now half past; nothing was taken."""
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(9)], grace_minutes=60))
    clock.move_to(at(9, 30))
    assert state() == "due"
    return world


def state() -> str:
    return statuses(due_at=at(9))[0]


def read(world, **given) -> Reading:
    return take(world, taken_at=at(9, 10), used_despite=REASON, **given)


def test_with_a_good_check_behind_it_clears(asked):
    good(asked.probe, asked.cook, at(8))
    assert read(asked).vouched and state() == "cleared"


def test_also_with_one_whose_check_is_overdue_or_that_was_dropped(asked, clock):
    good(asked.probe, asked.cook, at(8, day=1))
    event(asked.probe, asked.cook, "dropped", at(8))
    reading = read(asked)
    assert (reading.fitness, reading.vouched, state()) == ("check_first", True, "cleared")


BEFORE = {
    "never checked": lambda w: None,
    "failed": lambda w: (good(w.probe, w.cook, at(7)), bad(w.probe, w.cook, at(8))),
    "adjusted": lambda w: (good(w.probe, w.cook, at(7)), event(w.probe, w.cook, "adjusted", at(8))),
    "repaired": lambda w: (good(w.probe, w.cook, at(7)), event(w.probe, w.cook, "repaired", at(8))),
    "withdrawn": lambda w: (good(w.probe, w.cook, at(7)), event(w.probe, w.cook, "withdrawn", at(8))),
    "failed since it was taken": lambda w: (good(w.probe, w.cook, at(7)), bad(w.probe, w.cook, at(9, 20))),
}


@pytest.mark.parametrize("before", BEFORE)
def test_with_a_probe_that_is_not_to_be_relied_on_the_round_stays_open_overdue_and_missed(asked, clock, before):
    BEFORE[before](asked)
    assert read(asked).vouched is False
    seen = []
    for moment in (at(9, 30), at(10, 1), at(9, day=13)):
        clock.move_to(moment)
        seen.append(state())
    assert seen == ["due", "overdue", "missed"]


def test_another_reading_clears_it(asked, world):
    bad(asked.probe, asked.cook, at(8))
    read(asked)
    void_check(by=asked.manager, check=asked.probe.checks.get(), reason="Another probe was in the bath.")
    good(asked.probe, asked.cook, at(9, 15))
    take(asked, taken_at=at(9, 20))
    assert state() == "cleared"


def test_later_doubt_un_clears_nothing(asked, clock):
    checked = good(asked.probe, asked.cook, at(8))
    reading = read(asked)
    bad(asked.probe, asked.cook, at(9, 25))
    assert state() == "cleared"
    void_check(by=asked.manager, check=checked, reason="Another probe was in the bath.")
    assert state() == "cleared"
    typed = form_data(asked, limit=asked.limit.pk)
    data = ReadingData(
        key=typed["key"],
        probe=asked.probe,
        site=asked.site,
        limit=asked.limit,
        item=reading.item,
        typed="4.0",
        unit="C",
        taken_at=reading.taken_at,
        used_despite=REASON,
    )
    correct(by=asked.cook, reading=reading, reason="Misread.", data=data)
    assert state() == "cleared", "what is only put right keeps what was known"


@pytest.mark.parametrize(("checked", "left"), [(True, "cleared"), (False, "due")])
def test_readings_of_a_file_are_held_to_the_same(asked, checked, left):
    if checked:
        good(asked.probe, asked.cook, at(8))
    content = csv_file(row(taken_at="2026-03-12T09:10"))
    import_file(by=asked.manager, file_name="morning.csv", content=content)
    assert Reading.objects.get().vouched is checked and state() == left


def test_pages_and_print_say_so(asked, as_person, clock):
    bad(asked.probe, asked.cook, at(8))
    reading = read(asked)
    page = as_person(asked.manager).get(reverse("reminder_list", args=[asked.site.pk]))
    said = page.content.decode()
    assert "taken, with a probe not to be relied on" in said and "Take it now" in said
    assert reverse("reading_detail", args=[reading.pk]) in said
    tiles = {tile["label"]: tile["value"] for tile in page.context["tiles"]}
    assert (tiles["taken, not to be relied on"], tiles["done"]) == (1, 0) and tiles["still to do"] >= 1
    clock.move_to(at(9, day=13) + timedelta(hours=1))
    told = section(record_of(asked.site), "Planned and done")
    assert "Of those not done 1 taken, with a probe that was not to be relied on" in told
    assert f"R{reading.pk} was taken with a probe that was not to be relied on: it is not counted." in told
