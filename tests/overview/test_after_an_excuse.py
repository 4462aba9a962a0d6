"""What an excuse leaves to be done is told alike everywhere: on Today, the pages of the day and the area, in feeds and mails."""

from datetime import UTC, datetime

import pytest
from django.urls import reverse

from compliance.notices import late_sources, message_sources, still_relevant
from compliance.notices.calendar_entries import entries
from compliance.notices.models import Notice
from compliance.overview.queries import attention, probes_in_use
from compliance.overview.todo import to_do_today
from compliance.reminders.actions import excuse_reminder
from compliance.reminders.models import Reminder
from tests.checks import making
from tests.plans.making import check_every
from tests.reminders.making import come, ready, statuses, swept


def at(day: int, hour: int = 9, minute: int = 0) -> datetime:
    return datetime(2026, 3, day, hour, minute, tzinfo=UTC)


def today(client, site) -> str:
    return client.get(reverse("today_site", args=[site.pk])).content.decode()


def planned(client, site) -> list:
    """What and its status, of the rows of the page of this day, what is left over too."""
    answer = client.get(reverse("reminder_list", args=[site.pk]))
    tables = [answer.context[name] for name in ("left", "table") if answer.context[name]]
    return [(row.record.told.title, str(row.record.told.status)) for table in tables for row in table.rows]


@pytest.fixture
def daily(world, clock):
    """Checked on Tuesday the 10th at eight, every day at nine from then on."""
    clock.move_to(at(10, 8))
    making.good(world.probe, world.cook, at(10, 8))
    check_every(world.probe, 1, by=world.manager)
    return world.probe


@pytest.fixture
def dropped_after_an_excuse(world, clock):
    """Overdue by its plan since the 8th, excused on the 11th; dropped on the 12th at ten."""
    making.good(world.probe, world.cook, at(1, 8))
    ready(world.probe)
    swept()
    excuse_reminder(by=world.manager, reminder=come().get(), reason="Not used this week.")
    clock.move_to(at(12, 10))
    making.event(world.probe, world.cook, "dropped", at(12, 10))
    clock.move_to(at(12, 10, 5))
    swept()
    return world.probe


def test_today_and_the_page_of_the_day_agree_on_what_an_excuse_leaves(dropped_after_an_excuse, world, as_person):
    assert planned(as_person(world.manager), world.site) == [("P1", "overdue")], "nobody gains time by dropping it"
    (each,) = to_do_today(world.site, probes_in_use(world.site), at(12, 10, 5))
    assert (each.due_at, each.overdue) == (at(12, 10), True)
    assert "dropped" in today(as_person(world.manager), world.site).lower()


def test_the_area_page_counts_as_overdue_what_the_page_of_the_day_does(dropped_after_an_excuse, world):
    assert [line.overdue for line in attention([world.site], at(12, 10, 5))] == [1]


def test_the_feed_says_of_it_what_the_page_of_the_day_says(dropped_after_an_excuse, world):
    found = [e for e in entries(world.site, at(12, 10, 5)) if not e.tentative]
    assert [(e.due_at, e.late) for e in found] == [(at(12, 10), at(12).date())]


def test_the_morning_mail_names_what_an_excuse_does_not_cover(dropped_after_an_excuse, world, clock):
    clock.move_to(at(13, 8))
    swept()
    named = [m.probes for m in message_sources.mornings(at(13, 8)).messages if m.site == world.site]
    assert named and named[0][0][0] == world.probe.pk


def test_the_mail_of_an_overdue_check_leaves_that_an_excuse_does_not_cover(dropped_after_an_excuse, world, clock):
    clock.move_to(at(12, 12, 5))
    swept()
    assert statuses() == ["excused", "overdue"]
    (message,) = late_sources.overdue(at(12, 12, 5)).messages
    notice = Notice(
        person=world.manager,
        kind=message.kind,
        site=world.site,
        probes=message.probes,
        reminders=message.reminders,
        made_at=at(12, 12, 5),
    )
    assert still_relevant.done([notice], at(12, 12, 5)) == []


def test_an_excused_day_does_not_make_the_next_one_overdue_before_its_grace(daily, world, clock, as_person):
    clock.move_to(at(11, 12))
    swept()
    excuse_reminder(by=world.manager, reminder=Reminder.objects.get(due_at=at(11)), reason="Kitchen not in use.")
    clock.move_to(at(12, 9, 10))
    swept()
    assert planned(as_person(world.manager), world.site) == [("P1", "due")]
    (each,) = to_do_today(world.site, probes_in_use(world.site), at(12, 9, 10))
    assert not each.overdue
    assert [line.overdue for line in attention([world.site], at(12, 9, 10))] == [0]


def test_a_probe_that_failed_away_from_zero_is_led_to_a_check_there(daily, world, clock, as_person):
    clock.move_to(at(10, 12))
    check = making.certificate(daily, world.cook, at(10, 12), error_milli=3000, reference_milli=63000)
    client, decides = as_person(world.cook), reverse("check_detail", args=[check.pk])
    assert decides in today(client, world.site)
    page = client.get(decides).content.decode()
    assert reverse("boiling_check", args=[daily.pk]) in page and reverse("zero_check", args=[daily.pk]) not in page
