"""Today empties: only what counts now is to do, what was missed stands until it is excused, and each save leads to the next."""

from datetime import UTC, datetime, time

import pytest
from django.urls import reverse

from compliance.overview.queries import probes_in_use
from compliance.overview.todo import for_one_bath, to_do_today
from compliance.plans.data import PlanData
from compliance.probes.models import EventKind
from compliance.reminders.actions import excuse_reminder
from compliance.reminders.models import Reminder
from compliance.reminders.planning import change_opening, change_plan
from tests.checks import making
from tests.reminders.making import swept


def at(day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2026, 3, day, hour, minute, tzinfo=UTC)


@pytest.fixture
def daily(world, clock):
    """Open from eight, checked every day at seven; checked on Tuesday the 10th in time."""
    clock.move_to(at(9, 6))
    change_opening(by=world.manager, site=world.site, hours=[(time(8), time(18))] * 7)
    making.good(world.probe, world.cook, at(9, 6))
    change_plan(by=world.manager, data=PlanData(probe=world.probe, every_days=1, at=time(7), reason="Every morning."))
    clock.move_to(at(10, 6, 30))
    making.good(world.probe, world.cook, at(10, 6, 30))
    return world.probe


def today(client, site):
    return client.get(reverse("today_site", args=[site.pk])).content.decode()


def wanted(site, now):
    return [each.now for each in to_do_today(site, probes_in_use(site), now)]


@pytest.mark.parametrize("made", [at(10, 20), at(11, 6, 30)])
def test_a_check_is_offered_when_it_counts_for_what_it_is_made_for_and_only_then(daily, world, clock, as_person, made):
    clock.move_to(made)
    swept()
    [offered] = wanted(world.site, made)
    page = today(as_person(world.cook), world.site)
    assert (reverse("zero_check", args=[daily.pk]) in page) == offered and ("Coming" in page) != offered
    making.good(daily, world.cook, made)
    clock.move_to(at(11, 7, 30))
    swept()
    assert (wanted(world.site, at(11, 7, 30)) == []) == offered


def test_when_nothing_is_left_it_says_so_with_what_was_done(daily, world, as_person):
    page = today(as_person(world.cook), world.site)
    assert "All done" in page and "Done today: 1 check." in page


def test_what_was_missed_the_day_before_stands_there_until_it_is_excused(daily, world, clock, as_person):
    clock.move_to(at(12, 6, 30))
    swept()
    missed = Reminder.objects.get(probe=daily, due_at=at(11, 7))
    assert "Missed the day before" not in today(as_person(world.manager), world.site), (
        "it may be done until the next is due"
    )
    clock.move_to(at(12, 7, 30))
    excuse = reverse("reminder_excuse", args=[missed.pk])
    assert excuse in today(as_person(world.manager), world.site)
    page = today(as_person(world.cook), world.site)
    assert "Missed the day before" in page and excuse not in page
    excuse_reminder(by=world.manager, reminder=missed, reason="No ice that morning.")
    assert "Missed the day before" not in today(as_person(world.manager), world.site)


def test_a_failed_probe_stays_as_a_decision_until_it_is_withdrawn_or_put_right(daily, world, clock, as_person):
    clock.move_to(at(10, 9))
    check = making.bad(daily, world.cook, at(10, 9))
    clock.move_to(at(12, 9))
    swept()
    page = today(as_person(world.cook), world.site)
    assert "Decide: withdraw, adjust or repair, check again" in page and "Overdue" in page
    assert f'href="{reverse("check_detail", args=[check.pk])}" aria-label="Decide: P1' in page
    assert for_one_bath(to_do_today(world.site, probes_in_use(world.site), at(12, 9))) == []
    making.event(daily, world.cook, EventKind.ADJUSTED, at(12, 8))
    page = today(as_person(world.cook), world.site)
    assert "Decide:" not in page and reverse("zero_check", args=[daily.pk]) in page
    making.event(daily, world.cook, EventKind.WITHDRAWN, at(12, 8, 30), note="Its display is cracked.")
    assert reverse("zero_check", args=[daily.pk]) not in today(as_person(world.cook), world.site)


def test_a_saved_page_leads_on_to_what_is_next_or_says_that_nothing_is(daily, world, clock, as_person):
    client, address = as_person(world.cook), reverse("today_next", args=[world.site.pk])
    assert "All done" in client.get(address).content.decode()
    clock.move_to(at(11, 7, 30))
    swept()
    check, client = making.good(daily, world.cook, at(10, 7)), as_person(world.cook)  # idle so long, one signs in again
    assert f'hx-get="{address}"' in client.get(reverse("check_detail", args=[check.pk])).content.decode()
    following = client.get(address).content.decode()
    assert "Next: P1" in following and reverse("zero_check", args=[daily.pk]) in following
    assert "Next:" not in as_person(world.reader).get(address).content.decode()


def test_in_a_kitchen_a_probe_is_ok_to_use_or_not_and_pending_is_said_of_readings(daily, world, as_person):
    client = as_person(world.cook)
    for address in (
        reverse("probe_list"),
        reverse("probe_detail", args=[daily.pk]),
        reverse("today_site", args=[world.site.pk]),
    ):
        page = client.get(address).content.decode()
        assert "OK to use" in page and ">Pending<" not in page
