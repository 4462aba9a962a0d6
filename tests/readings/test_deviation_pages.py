"""The pages of deviations: open first, and only a manager writes down what was done."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from compliance.readings.models import CorrectiveAction
from tests.readings.helpers import take

pytestmark = pytest.mark.usefixtures("clock")


def data(world, **facts):
    told = {
        "action": "Moved it",
        "cause": "Door left open",
        "disposition": "moved",
        "note": "",
        "done_at": "2026-03-11T11:00",
        "decided_by": world.manager.pk,
    }
    return told | facts


def test_only_managers_write_down_what_was_done(world, as_person):
    url = reverse("deviation_detail", args=[take(world, typed="9").deviation.pk])
    for person, page, post in ((world.reader, 200, 403), (world.cook, 200, 403), (world.stranger, 404, 404)):
        assert as_person(person).get(url).status_code == page
        assert as_person(person).post(url, data(world)).status_code == post
    assert not CorrectiveAction.objects.exists()
    assert as_person(world.manager).post(url, data(world)).status_code == 302
    assert CorrectiveAction.objects.get().decided_by == world.manager


def test_two_taps_write_it_down_once(world, as_person):
    url = reverse("deviation_detail", args=[take(world, typed="9").deviation.pk])
    for _ in range(2):
        as_person(world.manager).post(url, data(world))
    assert CorrectiveAction.objects.count() == 1


def test_food_that_was_eaten_needs_its_risk(world, as_person):
    url = reverse("deviation_detail", args=[take(world, typed="9").deviation.pk])
    answer = as_person(world.manager).post(url, data(world, disposition="eaten"))
    assert "who was told" in str(answer.context["form"].errors["note"])


def test_a_later_entry_keeps_the_earlier_one_readable(world, as_person):
    client = as_person(world.manager)
    url = reverse("deviation_detail", args=[take(world, typed="9").deviation.pk])
    client.post(url, data(world, disposition="held", action="Put apart"))
    assert "Write down what becomes of it" in client.get(url).content.decode()
    client.post(url, data(world, disposition="discarded"))
    words = client.get(url).content.decode()
    assert "Put apart" in words and "Written down before" in words and "Discarded" in words


def test_the_list_opens_with_what_waits(world, as_person):
    first, second = (take(world, typed="9", item=item).deviation for item in ("waits", "settled"))
    client = as_person(world.manager)
    client.post(reverse("deviation_detail", args=[second.pk]), data(world))
    waiting, done = (client.get(reverse("deviation_list"), query).content.decode() for query in ({}, {"state": "done"}))
    assert "waits" in waiting and ">settled<" not in waiting
    assert ">settled<" in done and ">waits<" not in done
    assert ">waits<" not in as_person(world.stranger).get(reverse("deviation_list")).content.decode()


def test_filtering_stays_on_the_list_that_is_open(world, as_person):
    page = as_person(world.manager).get(reverse("deviation_list"), {"state": "done"})
    assert '<input type="hidden" name="state" value="done"' in page.content.decode()
    assert page.context["active"] == 0


def test_the_list_asks_as_often_for_three_times_as_many(world, as_person):
    client = as_person(world.supervisor)

    def asked():
        with CaptureQueriesContext(connection) as caught:
            client.get(reverse("deviation_list"))
        return len(caught)

    for i in range(5):
        take(world, typed="9", item=f"a{i}")
    before = asked()
    for i in range(10):
        take(world, typed="9", item=f"b{i}")
    assert asked() == before
