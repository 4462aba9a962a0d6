"""Notices in the pages, what people choose, what became of the mail."""

import re
from datetime import UTC, datetime

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from compliance.notices.actions import choose, send_again
from compliance.notices.models import Choice, Notice, QuietHours
from compliance.notices.queries import unread, wishes
from compliance.notices.recipients import Kind, Wish
from sites.models import Role

LIST, CHOICES, POST = reverse("notice_list"), reverse("notice_choices"), reverse("notice_post")


@pytest.fixture
def write(world):
    def made(subject, person=world.manager, **fields):
        fields = {
            "kind": "due",
            "about": subject,
            "site": world.site,
            "text": "Check <it>.",
            "link": "/probes/",
            "in_page": True,
            "state": "page",
            **fields,
        }
        return Notice.objects.create(person=person, subject=subject, **fields)

    return made


def test_the_list_shows_ones_own_and_the_header_counts_what_is_unread(as_person, world, write):
    write("Mine")
    write("By mail alone", in_page=False, state="sent")
    write("Hers", person=world.supervisor)
    page = as_person(world.manager).get(LIST).content.decode()
    assert "Mine" in page and "Check &lt;it&gt;." in page
    assert "Hers" not in page and "By mail alone" not in page
    assert "1 unread" in page


def test_marking_as_read_is_ones_own_affair(as_person, world, write):
    mine, hers = write("Mine"), write("Hers", person=world.supervisor)
    client = as_person(world.manager)
    assert client.get(reverse("notice_read", args=[mine.pk])).status_code == 405
    assert client.post(reverse("notice_read", args=[hers.pk])).status_code == 404
    assert client.post(reverse("notice_read", args=[mine.pk])).status_code == 302
    assert (unread(world.manager), unread(world.supervisor)) == (0, 1)
    client.post(reverse("notice_read_all"), {"until": write("Another").pk})
    assert (unread(world.manager), unread(world.supervisor)) == (0, 1)


@pytest.mark.parametrize("count", [3, 40])
def test_the_list_takes_the_same_queries_for_any_number(as_person, world, write, count, django_assert_max_num_queries):
    for number in range(count):
        write(f"n{number}")
    client = as_person(world.manager)
    with django_assert_max_num_queries(12):
        client.get(LIST)


def test_the_time_of_what_tells_of_an_area_is_that_of_its_sites(as_person, world, write):
    world.site.time_zone = "Asia/Tokyo"
    world.site.save()
    made_at = datetime(2026, 3, 11, 20, 30, tzinfo=UTC)
    write("North: the week", person=world.supervisor, site=None, area=world.area, made_at=made_at)
    assert "12 Mar 05:30" in as_person(world.supervisor).get(LIST).content.decode()


def test_each_role_has_its_own_to_choose_and_what_it_requires_cannot_be_cleared(as_person, world):
    page = as_person(world.supervisor).get(CHOICES).content.decode()
    assert "The week in your area" in page and "What is to be checked today" not in page
    assert "your role requires it" in page
    assert set(wishes(world.manager)) == {Kind.DUE, Kind.OVERDUE, Kind.READING, Kind.FAILED, Kind.GONE}
    assert wishes(world.cook) == {}


def test_a_choice_is_kept_and_shown_again(as_person, world):
    client = as_person(world.supervisor)
    answer = client.post(CHOICES, {"digest": ["page"], "quiet_from": "20:00", "quiet_until": "07:30"})
    assert answer.status_code == 302
    found = wishes(world.supervisor)
    assert found[Kind.DIGEST][1] == Wish(False, True)
    assert found[Kind.FAILED][1] == Wish(True, True)  # the browser sends no box that cannot be cleared
    assert found[Kind.UNANSWERED][1] == Wish(False, True)
    assert str(QuietHours.objects.get()) == "20:00 to 07:30"
    assert 'value="07:30"' in client.get(CHOICES).content.decode()


def test_an_hour_that_is_none_is_said_and_changes_nothing(as_person, world):
    page = as_person(world.supervisor).post(CHOICES, {"quiet_from": "25:00", "quiet_until": "07:30"})
    assert page.status_code == 200
    assert b"Enter a valid time" in page.content
    assert not Choice.objects.exists()


def test_an_action_refuses_what_the_role_requires(world):
    with pytest.raises(ValidationError, match="requires"):
        choose(by=world.manager, choices={Kind.FAILED: Wish(False, True)}, quiet_from=None, quiet_until=None)
    with pytest.raises(ValidationError, match="None of your roles"):
        choose(by=world.cook, choices={Kind.FAILED: Wish(True, True)}, quiet_from=None, quiet_until=None)


def test_a_supervisor_sees_what_could_not_be_sent_and_sends_it_again(as_person, world, write):
    failed = write("Mail", state="failed", answered="550 No such user", attempts=3)
    write("Elsewhere", site=world.foreign_site, state="failed", answered="551 Moved")
    client = as_person(world.supervisor)
    assert "1 not sent" in client.get(LIST).content.decode()
    page = client.get(POST, {"show": "failed"}).content.decode()
    assert "550 No such user" in page and world.manager.name in page
    assert "551 Moved" not in page
    client.post(reverse("notice_again", args=[failed.pk]))
    failed.refresh_from_db()
    assert (failed.state, failed.attempts) == ("waiting", 0)
    with pytest.raises(ValidationError, match="waits already"):
        send_again(by=world.supervisor, notice=failed)


def test_a_supervisor_sees_when_what_was_turned_down_for_now_is_tried_again(as_person, world, write):
    again = {"state": "waiting", "answered": "451 Later", "not_before": datetime(2026, 3, 11, 20, 30, tzinfo=UTC)}
    write("Mail", attempts=1, **again)
    write("More mail", attempts=3, **again)
    text = re.sub("<[^>]+>", "", as_person(world.supervisor).get(POST).content.decode())
    assert "451 Later Tried once, again 11 Mar 20:30." in text
    assert "451 Later Tried 3 times, again 11 Mar 20:30." in text


def test_a_manager_does_not_see_others_mail(as_person, world, write):
    failed = write("Mail", state="failed")
    client = as_person(world.manager)
    assert client.get(POST).status_code == 403
    assert client.post(reverse("notice_again", args=[failed.pk])).status_code == 404


def test_who_lost_the_role_reads_no_notice_of_that_place_any_more(as_person, world, write):
    own = write("Stop using probe P1")
    write("Elsewhere", site=world.other_site)
    write("North: the week", site=None, area=world.area, person=world.supervisor)
    for person, told in ((world.manager, "Stop using probe P1"), (world.supervisor, "North: the week")):
        page = as_person(person).get(LIST).content.decode()
        assert told in page and "Elsewhere" not in page
        person.memberships.update(role=Role.COOK)
        assert told not in as_person(person).get(LIST).content.decode()
        assert unread(person) == 0
    client = as_person(world.manager)
    assert client.post(reverse("notice_read", args=[own.pk])).status_code == 404
    own.refresh_from_db()
    assert own.read_at is None
