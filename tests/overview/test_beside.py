"""Two things that are asked for of one probe at once, and what pages and mails say of them and lead to."""

from datetime import UTC, datetime

import pytest
from django.urls import reverse

from compliance.notices import late_sources, message_sources, still_relevant
from compliance.notices.models import Notice
from compliance.overview.queries import probes_in_use
from compliance.overview.todo import to_do_today
from compliance.reminders.actions import excuse_reminder
from compliance.reminders.models import Reminder
from sites.models import Membership, Role, Site
from tests.checks import making
from tests.plans.making import check_every
from tests.reminders.making import come, ready, statuses, swept

pytestmark = pytest.mark.usefixtures("clock")  # 11 March 2026, a Wednesday, noon UTC


def at(day: int, hour: int = 9, minute: int = 0, month: int = 3) -> datetime:
    return datetime(2026, month, day, hour, minute, tzinfo=UTC)


def today(client, site) -> str:
    return client.get(reverse("today_site", args=[site.pk])).content.decode()


def planned(client, site, day="") -> list:
    """(what, status) of the rows of the page of a day, what is left over too."""
    answer = client.get(reverse("reminder_list", args=[site.pk]), {"day": day} if day else {})
    tables = [answer.context[name] for name in ("left", "table") if answer.context[name]]
    return [(row.record.told.title, str(row.record.told.status)) for table in tables for row in table.rows]


@pytest.fixture
def daily(world, clock):
    """Checked on Tuesday the 10th at eight, every day at nine from then on."""
    clock.move_to(at(10, 8))
    making.good(world.probe, world.cook, at(10, 8))
    check_every(world.probe, 1, by=world.manager)
    return world.probe


def test_a_zero_check_that_is_due_is_on_today_while_one_at_boiling_is_outstanding(daily, world, clock, as_person):
    clock.move_to(at(10, 12))
    making.boiling(daily, world.cook, at(10, 12), "95.0")
    clock.move_to(at(11, 9, 30))
    swept()
    assert ("P1", "due") in planned(as_person(world.cook), world.site), "the page of the day asks for it"
    page = today(as_person(world.cook), world.site)
    assert reverse("zero_check", args=[daily.pk]) in page, "Today leads to the boiling check only"


def test_a_zero_check_that_is_due_is_on_today_while_one_at_boiling_is_excused(daily, world, clock, as_person):
    clock.move_to(at(10, 12))
    making.boiling(daily, world.cook, at(10, 12), "95.0")
    clock.move_to(at(10, 12, 1))
    swept()
    excuse_reminder(by=world.manager, reminder=Reminder.objects.get(point="boiling"), reason="Used for cold food only.")
    clock.move_to(at(11, 9, 30))
    swept()
    page = today(as_person(world.cook), world.site)
    assert reverse("zero_check", args=[daily.pk]) in page and reverse("boiling_check", args=[daily.pk]) not in page


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


def excuse_reminder_of_boiling(world, clock):
    clock.move_to(at(10, 12, 1))
    swept()
    excuse_reminder(by=world.manager, reminder=Reminder.objects.get(point="boiling"), reason="Used for cold food only.")


def test_the_mail_of_a_zero_check_overdue_leads_to_it_while_one_at_boiling_is_outstanding(daily, world, clock):
    clock.move_to(at(10, 12))
    making.boiling(daily, world.cook, at(10, 12), "95.0")
    excuse_reminder_of_boiling(world, clock)
    clock.move_to(at(11, 11, 30))
    swept()
    (message,) = [m for m in late_sources.overdue(at(11, 11, 30)).messages]
    assert message.link.endswith(reverse("zero_check", args=[daily.pk])), message.link


def test_the_shared_bath_offers_a_probe_whose_zero_check_is_due_though_one_at_boiling_is_outstanding(
    daily, world, clock, as_person
):
    clock.move_to(at(10, 12))
    making.boiling(daily, world.cook, at(10, 12), "95.0")
    clock.move_to(at(11, 9, 30))
    swept()
    page = as_person(world.cook).get(reverse("today_together", args=[world.site.pk]))
    assert not page.context["nothing"]


def test_the_probe_page_says_overdue_when_today_does(daily, world, clock, as_person):
    clock.move_to(at(11, 9, 30))
    swept()
    (each,) = to_do_today(world.site, probes_in_use(world.site), at(11, 9, 30))
    page = as_person(world.cook).get(reverse("probe_detail", args=[daily.pk])).content.decode()
    assert each.overdue == ("overdue since" in page)


def test_the_list_of_probes_says_overdue_when_today_does(daily, world, clock, as_person):
    clock.move_to(at(11, 9, 30))
    swept()
    page = as_person(world.cook).get(reverse("probe_list")).content.decode()
    assert "Overdue" not in page


def test_the_plan_of_a_business_can_be_set_for_today_where_its_sites_are_ahead_of_utc(world, clock, as_person):
    Site.objects.filter(area__business=world.business).update(time_zone="Pacific/Auckland")
    Membership.objects.create(person=world.supervisor, role=Role.SUPERVISOR, area=world.far_area)
    clock.move_to(at(11, 21))  # ten in the morning of the 12th in Auckland
    client, address = as_person(world.supervisor), reverse("plan_business")
    given = client.get(address).context["form"].initial
    answer = client.post(
        address, {**given, "every_days": 3, "at": "09:00", "effective_from": str(given["effective_from"])}
    )
    assert answer.status_code == 302, answer.context["form"].errors


@pytest.mark.parametrize("day", ["0001-01-01", "0001-01-03", "9999-12-31", "9999-12-30"])
def test_the_page_of_a_day_far_away_is_a_page(daily, world, as_person, day):
    assert as_person(world.cook).get(reverse("reminder_list", args=[world.site.pk]), {"day": day}).status_code < 500


def test_what_is_lifted_cannot_be_excused(daily, world, clock, as_person):
    clock.move_to(at(11, 12))
    swept()
    making.event(daily, world.manager, "gone", at(11, 12), "lost")
    row = come().get()
    answer = as_person(world.manager).post(
        reverse("reminder_excuse", args=[row.pk]), {"wants": "excuse", "reason": "busy"}
    )
    assert answer.status_code == 422 and statuses() == ["cancelled"]
