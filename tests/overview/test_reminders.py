"""The page of a day in the order of what matters, what was planned and done, and excuses."""

import re
from datetime import UTC, date, datetime, time, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from compliance.overview.queries import probes_in_use
from compliance.overview.todo import next_service, to_do_today
from compliance.plans.actions import set_round
from compliance.plans.data import ClosureData, PlanData, RoundData
from compliance.plans.queries import calendars
from compliance.reminders.models import Excuse, ExcuseVoid, Reminder
from compliance.reminders.planning import add_closure, change_opening, change_plan
from tests.checks import making
from tests.reminders.making import come, ready, statuses, swept
from tests.world import make_probe, make_reading

NOW = datetime(2026, 3, 11, 12, tzinfo=UTC)  # a Wednesday
pytestmark = pytest.mark.usefixtures("clock")


@pytest.fixture
def overdue(world):
    """Dropped three hours ago, so overdue for one."""
    making.good(world.probe, world.cook, NOW - timedelta(days=1))
    making.event(world.probe, world.cook, "dropped", NOW - timedelta(hours=3))
    ready(world.probe)
    swept()
    return come().get()


def codes(site):
    return [each.probe.code if each.probe else "round" for each in to_do_today(site, probes_in_use(site), NOW)]


def dropped(world, code, hours, readings=0):
    probe = make_probe(world.site, code, by=world.manager, limits=[world.limit])
    making.good(probe, world.cook, NOW - timedelta(days=1))
    for n in range(readings):
        make_reading(probe, world.limit, "3.0", NOW - timedelta(hours=20 - n), by=world.cook)
    making.event(probe, world.cook, "dropped", NOW - timedelta(hours=hours))
    return probe


def test_overdue_comes_before_what_is_due_and_of_the_same_what_puts_more_at_stake(world, overdue):
    dropped(world, "B1", 1)
    dropped(world, "B2", 0.5, readings=2)
    assert codes(world.site) == ["P1", "B2", "B1"]


def test_what_is_due_before_the_next_opening_comes_before_what_is_due_later(world):
    hours = [(time(13), time(15))] * 7
    change_opening(by=world.manager, site=world.site, hours=hours)
    assert next_service(calendars([world.site])[world.site.pk], world.site, NOW) == NOW + timedelta(hours=1)
    later = make_probe(world.site, "A9", by=world.manager, limits=[world.limit])
    making.good(later, world.cook, NOW - timedelta(days=6))
    make_reading(later, world.limit, "3.0", NOW - timedelta(days=2), by=world.cook)
    change_plan(by=world.manager, data=PlanData(probe=later, every_days=6, at=time(20), reason="After service."))
    first = dropped(world, "Z1", 0.5)
    making.good(world.probe, world.cook, NOW)
    assert codes(world.site) == [first.code, later.code]


def test_a_round_is_asked_for_with_one_tap_into_the_reading(as_person, world, clock):
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(14)]))
    clock.move_to(NOW.replace(hour=14, minute=5))
    swept()
    page = as_person(world.cook).get(reverse("today_site", args=[world.site.pk])).content.decode()
    assert f"{reverse('reading_add')}?site={world.site.pk}&amp;limit={world.limit.pk}" in page
    make_reading(world.probe, world.limit, "3.0", NOW.replace(hour=14, minute=4), by=world.cook)
    page = as_person(world.cook).get(reverse("today_site", args=[world.site.pk])).content.decode()
    assert "limit=" not in page and statuses() == ["cleared"]


def test_a_reading_that_may_be_taken_already_is_on_today_before_it_is_due_and_before_opening(as_person, world, clock):
    change_opening(by=world.manager, site=world.site, hours=[(time(13), time(20))] * 7)
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(12, 40)]))
    client, address = as_person(world.cook), reverse("today_site", args=[world.site.pk])
    link, seen = f"{reverse('reading_add')}?site={world.site.pk}&amp;limit={world.limit.pk}", []
    for minute in (10, 11, 40, 41):
        clock.move_to(NOW.replace(minute=minute))
        swept()
        seen.append(client.get(address).content.decode().count(link))
    assert seen == [0, 1, 1, 1], "thirty minutes before it is due, and once"


def test_one_that_is_taken_early_is_on_today_no_longer(as_person, world, clock):
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(12, 20)]))
    assert [each.reminder.due_at for each in to_do_today(world.site, [], NOW)] == [NOW.replace(minute=20)]
    assert not to_do_today(world.site, [], NOW)[0].overdue
    make_reading(world.probe, world.limit, "3.0", NOW, by=world.cook)
    assert to_do_today(world.site, [], NOW) == []


def test_the_day_says_who_did_what_and_when(as_person, world, overdue):
    address = reverse("reminder_list", args=[world.site.pk])
    page = as_person(world.cook).get(address).content.decode()
    assert "Overdue" in page and reverse("zero_check", args=[world.probe.pk]) in page
    assert reverse("reminder_excuse", args=[overdue.pk]) not in page
    making.good(world.probe, world.cook, NOW - timedelta(minutes=30))
    page = as_person(world.cook).get(address).content.decode()
    assert "Col Esker" in page and "11:30" in page and re.search(r"Done</span>\s+late", page)
    assert "Nothing fell due" in as_person(world.cook).get(f"{address}?day=2026-03-10").content.decode()
    assert as_person(world.cook).get(f"{address}?day=rubbish").status_code == 200


def planned(client, site, day=""):
    return client.get(reverse("reminder_list", args=[site.pk]), {"day": day} if day else {})


def test_a_closed_day_says_why_nothing_falls_due_and_where_it_moves(as_person, world):
    add_closure(
        by=world.manager,
        data=ClosureData(
            site=world.site, first_day=date(2026, 3, 12), last_day=date(2026, 3, 13), why="half-term holidays"
        ),
    )
    client = as_person(world.reader)
    for day in ("2026-03-12", "2026-03-13"):
        page = planned(client, world.site, day).content.decode()
        assert "Closed: half-term holidays" in page and "moves to 14 Mar 2026" in page
    assert "This day has not come yet" in planned(client, world.site, "2026-03-14").content.decode()
    hours = [(time(8), time(15))] * 5 + [None, None]
    change_opening(by=world.manager, site=world.site, hours=hours)
    assert '<p class="empty-title">Closed on Saturdays' in planned(client, world.site, "2026-03-14").content.decode()


def test_what_is_still_to_come_stands_on_its_day_and_is_not_told_twice(as_person, world, clock):
    making.good(world.probe, world.cook, NOW)
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(14)]))
    change_plan(by=world.manager, data=PlanData(probe=world.probe, every_days=1, at=time(9), reason="Often used."))
    client = as_person(world.manager)

    def ahead(day=""):
        return [(each["title"], each["meta"]) for each in planned(client, world.site, day).context["ahead"]]

    reading, check = f"14:00 Take the reading for {world.limit}", "09:00 Check probe P1"
    assert ahead() == [(reading, "")]
    assert ahead("2026-03-12") == [(check, ""), (reading, "")]
    assert ahead("2026-03-13")[0] == (check, "If the check before it is made in time.")
    assert ahead("2026-03-10") == []
    assert "has not come" not in planned(client, world.site, "2026-03-12").content.decode()
    clock.move_to(NOW.replace(hour=14, minute=5))
    swept()
    page = planned(client, world.site)
    assert page.context["ahead"] == [] and len(page.context["table"].rows) == 2


def test_a_due_time_of_today_is_told_without_its_day(as_person, world, overdue, clock):
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(14)]))
    clock.move_to(NOW.replace(hour=14, minute=5))
    swept()
    page = as_person(world.cook).get(reverse("today_site", args=[world.site.pk])).content.decode()
    assert "· due at 09:00" in page and ">Due at 14:00<" in page
    clock.move_to(NOW + timedelta(days=1))
    page = as_person(world.cook).get(reverse("today_site", args=[world.site.pk])).content.decode()
    assert "due 11 Mar 09:00" in page


def test_what_was_asked_for_at_once_on_a_closed_day_stands_beside_the_reason(as_person, world, overdue):
    add_closure(
        by=world.manager, data=ClosureData(site=world.site, first_day=NOW.date(), last_day=NOW.date(), why="flood")
    )
    page = planned(as_person(world.cook), world.site).content.decode()
    assert "Closed: flood" in page and "asked for at once" in page and "Overdue" in page


def test_today_lists_what_is_open_from_earlier_days_as_the_page_of_the_day_has_it(as_person, world, clock):
    making.good(world.probe, world.cook, NOW - timedelta(days=12))
    gone, held, daily = (make_probe(world.site, code, by=world.manager) for code in ("G1", "H1", "D1"))
    clock.move_to(NOW - timedelta(days=4))
    change_plan(by=world.manager, data=PlanData(probe=daily, every_days=1, at=time(9), reason="Often used."))
    making.good(daily, world.cook, NOW - timedelta(days=4, hours=1))
    clock.move_to(NOW)
    for probe in (gone, held):
        making.good(probe, world.cook, NOW - timedelta(days=3))
        making.event(probe, world.cook, "dropped", NOW - timedelta(hours=50))
    making.good(gone, world.cook, NOW - timedelta(hours=40))
    ready(world.probe, gone, held, daily)
    swept()
    answer = planned(as_person(world.manager), world.site)
    shown = {row.record.told.title for name in ("left", "table") for row in answer.context[name].rows}
    assert shown == {
        each.probe.code for each in to_do_today(world.site, probes_in_use(world.site), NOW) if each.overdue
    }
    assert {row.record.told.title for row in answer.context["left"].rows} == {"P1", "H1"}
    page = answer.content.decode()
    assert "not done since" in page, "of what is asked for every day"
    assert "Still open from earlier days" in page and f"{len(answer.context['left'].rows)} from earlier days" in page
    assert "Still open" not in planned(as_person(world.manager), world.site, "2026-03-10").content.decode()
    as_person(world.manager).post(
        reverse("reminder_excuse", args=[Reminder.objects.get(probe=held, due_at=NOW - timedelta(hours=50)).pk]),
        {"wants": "excuse", "reason": "Away."},
    )
    left = planned(as_person(world.manager), world.site).context["left"]
    assert "H1" not in {row.record.told.title for row in left.rows}


def test_an_excuse_needs_a_reason_and_a_manager(as_person, world, overdue):
    address = reverse("reminder_excuse", args=[overdue.pk])
    assert as_person(world.cook).post(address, {"wants": "excuse", "reason": "busy"}).status_code == 403
    assert as_person(world.stranger).post(address, {"wants": "excuse", "reason": "busy"}).status_code == 404
    assert as_person(world.manager).post(address, {"wants": "excuse", "reason": "  "}).status_code == 422
    assert not Excuse.objects.exists()
    assert (
        as_person(world.manager).post(address, {"wants": "excuse", "reason": "In the laboratory."}).status_code == 302
    )
    assert statuses() == ["excused"] and codes(world.site) == []
    page = as_person(world.reader).get(reverse("reminder_list", args=[world.site.pk])).content.decode()
    assert "In the laboratory." in page and "Mara Holt" in page


def test_an_excuse_that_is_struck_out_no_longer_counts(as_person, world, overdue):
    address = reverse("reminder_excuse", args=[overdue.pk])
    as_person(world.manager).post(address, {"wants": "excuse", "reason": "In the laboratory."})
    page = as_person(world.manager).get(address).content.decode()
    assert "Strike out" in page and "does not hold" in page and "in the laboratory until" not in page
    strike = {"wants": "strike_out", "excuse": Excuse.objects.get().pk, "reason": "It was here."}
    as_person(world.manager).post(address, strike)
    assert statuses() == ["overdue"] and ExcuseVoid.objects.get().reason == "It was here."
    as_person(world.manager).post(address, {"wants": "excuse", "reason": "Now it is there."})
    assert statuses() == ["excused"] and Excuse.objects.count() == 2


def test_what_was_done_is_not_excused(as_person, world, overdue):
    making.good(world.probe, world.cook, NOW - timedelta(minutes=30))
    answer = as_person(world.manager).post(
        reverse("reminder_excuse", args=[overdue.pk]), {"wants": "excuse", "reason": "busy"}
    )
    assert answer.status_code == 422 and "nothing to excuse" in answer.content.decode()


def test_the_queries_do_not_grow_with_what_is_due(as_person, world):
    def asked(count):
        for n in range(count):
            dropped(world, f"Q{count}-{n}", 3)
        set_round(
            by=world.manager,
            limit=world.limit,
            data=RoundData(times=[time(12, n) for n in range(count)], reason="more"),
        )
        swept()
        addresses = [reverse(name, args=[world.site.pk]) for name in ("today_site", "reminder_list")]
        found = []
        for address in addresses:
            as_person(world.manager).get(address)
            with CaptureQueriesContext(connection) as queries:
                as_person(world.manager).get(address)
            found.append(len(queries))
        return found

    assert asked(2) == asked(6)
