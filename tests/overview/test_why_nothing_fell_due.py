"""Why nothing fell due on a past day: by what was set for the site then, on the page of the day and in the record alike."""

from datetime import UTC, date, datetime

import pytest
from django.urls import reverse

from compliance.plans.data import ClosureData
from compliance.reminders import planning
from sites.models import Site
from tests.checks import making
from tests.plans.making import check_every
from tests.records.making import record_of, section
from tests.reminders.making import swept

DAYS = "Days of work and plans of checks"


def at(day: int, hour: int = 9, minute: int = 0) -> datetime:
    return datetime(2026, 3, day, hour, minute, tzinfo=UTC)


def fresh(site):
    return Site.objects.get(pk=site.pk)


@pytest.fixture
def daily(world, clock):
    """Checked on Tuesday the 10th at eight, every day at nine from then on."""
    clock.move_to(at(10, 8))
    making.good(world.probe, world.cook, at(10, 8))
    check_every(world.probe, 1, by=world.manager)
    return world.probe


def test_the_page_of_a_day_on_which_the_site_was_closed_for_good_says_so(daily, world, clock, as_person):
    planning.change_site(by=world.supervisor, site=fresh(world.site), changes={"closed": True})
    clock.move_to(at(20, 12))
    page = as_person(world.supervisor).get(reverse("reminder_list", args=[world.site.pk]), {"day": "2026-03-14"})
    assert page.context["nothing"]["heading"] != "Nothing fell due", page.context["nothing"]


def test_the_record_says_why_nothing_fell_due_while_the_site_was_closed_for_good(daily, world, clock):
    planning.change_site(by=world.supervisor, site=fresh(world.site), changes={"closed": True})
    clock.move_to(at(20, 12))
    planning.change_site(by=world.supervisor, site=fresh(world.site), changes={"closed": False})
    clock.move_to(at(25, 12))
    days = section(record_of(world.site), "Days of work and plans of checks")
    assert "closed for good" in days, days


def test_the_page_of_a_checked_probe_at_a_closed_site_does_not_say_that_it_was_never_checked(daily, world, as_person):
    planning.change_site(by=world.supervisor, site=fresh(world.site), changes={"closed": True})
    page = as_person(world.supervisor).get(reverse("probe_detail", args=[daily.pk])).content.decode()
    assert "never checked" not in page


def test_the_page_of_a_past_public_holiday_says_so_as_the_record_does(daily, world, clock, as_person):
    by, site = world.supervisor, world.site
    planning.change_site(by=by, site=fresh(site), changes={"country": "IE", "closed_on_holidays": True})
    clock.move_to(at(16, 10))
    making.good(daily, world.cook, at(16, 10))
    clock.move_to(at(20, 12))
    swept()
    making.good(daily, world.cook, at(20, 12))
    planning.change_site(by=by, site=fresh(site), changes={"closed_on_holidays": False})
    clock.move_to(at(25, 12))
    assert "Patrick" in section(record_of(fresh(site)), "Days of work and plans of checks")
    page = as_person(world.manager).get(reverse("reminder_list", args=[site.pk]), {"day": "2026-03-17"})
    assert "Patrick" in page.context["nothing"]["heading"], page.context["nothing"]


def test_a_closure_of_the_area_is_still_the_reason_when_the_site_has_gone_to_another_area(
    daily, world, clock, as_person
):
    planning.add_closure(
        by=world.supervisor,
        data=ClosureData(area=world.area, first_day=date(2026, 3, 11), last_day=date(2026, 3, 13), why="strike"),
    )
    clock.move_to(at(15, 12))
    swept()
    making.good(daily, world.cook, at(15, 12))
    planning.change_site(by=world.supervisor, site=fresh(world.site), changes={"area": world.far_area})
    clock.move_to(at(25, 12))
    assert "strike" in section(record_of(fresh(world.site)), "Days of work and plans of checks")


def heading(client, site, day: str) -> str:
    answer = client.get(reverse("reminder_list", args=[site.pk]), {"day": day})
    return (answer.context["nothing"] or {}).get("heading", "")


def test_of_each_area_the_closures_count_of_the_days_on_which_the_site_was_there(daily, world, clock, as_person):
    for area, why, days in (
        (world.area, "strike", (11, 13)),
        (world.area, "fair", (20, 20)),
        (world.far_area, "flood", (10, 12)),
    ):
        first, last = (date(2026, 3, day) for day in days)
        planning.add_closure(by=world.supervisor, data=ClosureData(area=area, first_day=first, last_day=last, why=why))
    clock.move_to(at(15, 12))
    planning.change_site(by=world.supervisor, site=fresh(world.site), changes={"area": world.far_area})
    clock.move_to(at(25, 12))
    client = as_person(world.manager)
    assert [heading(client, world.site, f"2026-03-{day}") for day in (12, 20)] == ["Closed: strike", ""]
    days = section(record_of(fresh(world.site)), DAYS)
    assert "strike" in days and "fair" not in days and "flood" not in days


def test_days_on_which_it_worked_are_not_said_to_be_closed_once_it_is(daily, world, clock, as_person):
    clock.move_to(at(14, 12))
    swept()
    planning.change_site(by=world.supervisor, site=fresh(world.site), changes={"closed": True})
    clock.move_to(at(20, 12))
    client = as_person(world.supervisor)
    assert "closed" not in heading(client, world.site, "2026-03-12").lower()
    assert "closed" in heading(client, world.site, "2026-03-15").lower()
    assert "closed for good" in section(record_of(fresh(world.site)), DAYS)


def test_the_record_of_a_site_that_is_closed_says_that_no_check_is_due(daily, world, clock):
    planning.change_site(by=world.supervisor, site=fresh(world.site), changes={"closed": True})
    assert "no check is due (the site is closed for good)" in section(
        record_of(fresh(world.site)), "Probes and their checks"
    )
